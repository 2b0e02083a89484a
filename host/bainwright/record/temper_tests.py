"""The temper tests of a hold, stored beside its log: how long a piece took to set, how it looked, and the verdict."""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Annotated, Any

import msgspec

from bainboard import stages
from bainwright.core.bounds import DurationS, RoomC
from bainwright.core.errors import FileError
from bainwright.core.read_file import read_struct
from bainwright.core.units import clock_words
from bainwright.files.chocolate import bundled_profiles, load_profile
from bainwright.record.names import TESTS
from bainwright.record.reader import read_events, read_facts
from bainwright.record.taken_back import save_entry
from bainwright.words import terms

VERDICTS = (stages.GOOD, stages.SLOW, stages.FAILED, stages.LATE, terms.HASTY)
PASSED = (stages.GOOD, stages.SLOW)
END_S = 10.0  # chosen: by so much the end that a hold's facts tell and its last row may differ
ROUND_MIN = 0.01  # a time that the warmer gave in seconds, in minutes
LONGEST_MIN = 120.0  # chosen: nobody watches a test piece longer
WARM_ROOM_C = 24.0  # chosen: two over the 18 to 22 °C of common practice (no source); warmer, setting tells little
TOO_WARM = "; but the room was too warm for a test: let a piece set at 18 to 22 °C"
LOOKS = "it set, but does not look right: stir well and test again; a little more seed may help"
BY_WARMER, BY_PERSON = "warmer", "person"


@dataclass(frozen=True)
class TemperTest:
    """One temper test.

    Attributes
    ----------
    t_s : float
        When the verdict was given, in seconds of the hold.
    kind : str
        Kind of chocolate.
    room_c : float or None
        Temperature of the room in which the piece set.
    minutes : float or None
        How long it took to set; None when it did not.
    gloss, streaks : str or None
        How it looked; None if not reported.
    verdict : str
        ``good``, ``slow``, ``failed``, ``late`` or ``hasty``, from the chocolate's own times and from the looks.
    by : str
        ``warmer``: timed by the board; ``person``: entered afterwards.
    """

    t_s: DurationS
    kind: str
    room_c: RoomC | None
    minutes: Annotated[float, msgspec.Meta(ge=0.0, le=LONGEST_MIN)] | None
    gloss: Annotated[str, msgspec.Meta(pattern="^(good|dull)$")] | None
    streaks: Annotated[str, msgspec.Meta(pattern="^(none|some|many)$")] | None
    verdict: Annotated[str, msgspec.Meta(pattern=f"^({'|'.join(VERDICTS)})$")]
    by: Annotated[str, msgspec.Meta(pattern=f"^({BY_WARMER}|{BY_PERSON})$")]

    def words(self) -> str:
        """The test as one line to read."""
        took = "did not set" if self.minutes is None else f"set after {terms.minutes(round(60 * self.minutes))}"
        looks = [f"gloss {self.gloss}" if self.gloss else "", f"streaks {self.streaks}" if self.streaks else ""]
        seen = ", ".join([took, *(look for look in looks if look)])
        looked = self.verdict == stages.SLOW and (self.gloss == "dull" or self.streaks == "some")
        verdict = LOOKS if looked else terms.verdict(self.verdict)
        room = TOO_WARM if self.room_c is not None and self.room_c > WARM_ROOM_C else ""
        return f"{clock_words(self.t_s):>8}  {terms.kind(self.kind)}: {seen}: {verdict}{room}"


def judge(profile: dict[str, Any], minutes: float | None, gloss: str | None, streaks: str | None) -> str:
    """Verdict from the chocolate's times; a piece that sets in time but looks bad is not in temper either.

    Parameters
    ----------
    profile : dict
        `set_min` and `fail_min` of the chocolate.
    minutes : float or None
        How long it took to set; None when it did not.
    gloss, streaks : str or None
        How it looked.
    """
    if minutes is None or streaks == "many" or (gloss == "dull" and streaks == "some"):
        return stages.FAILED
    found = str(stages.verdict(profile, minutes * 60000))
    if found == stages.LATE:  # a time was entered, so somebody saw it set, too late
        return stages.FAILED
    return stages.SLOW if gloss == "dull" or streaks == "some" else found


def chocolate_at(events: list[dict[str, Any]], facts: dict[str, Any], t_s: float) -> dict[str, Any]:
    """Figures of the chocolate in the bath at a given time: those of the hold, until the bowl was changed.

    The log has only the name of the next chocolate. An unknown one gets that name and the times of the hold.
    """
    own: dict[str, Any] = facts.get("profile") or {}
    figures = own
    for event in events:
        if event.get("event") == "changed" and float(event["t_s"]) <= t_s:
            name = str(event.get("name"))
            file = name.replace(" ", "_")
            if name == own.get("name"):
                figures = own
            elif file in bundled_profiles():
                figures = load_profile(file).document()
            else:
                figures = {**own, "name": name, "kind": name}
    return figures


def takes_back_a_test(event: Mapping[str, Any]) -> bool:
    """Does this event of the log undo the verdict of the test before it?"""
    answered = event.get("undid") in ("confirm", "thicker")
    return event.get("event") == "taken_back" and answered and event.get("ask") in terms.SETTING


def valid_tests(events: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """The events of temper tests whose answer was not taken back."""
    found: list[dict[str, Any]] = []
    for event in events:
        if event.get("event") == "tested":
            found.append(event)
        elif takes_back_a_test(event) and found:
            found.pop()
    return found


def logged_tests(events: list[dict[str, Any]], facts: dict[str, Any]) -> list[TemperTest]:
    """The tests that the warmer itself timed."""
    found = []
    for event in valid_tests(events):
        verdict, took_s = terms.verdict_of(event), event.get("took_s")
        minutes = _minutes(took_s) if verdict in (stages.GOOD, stages.SLOW, terms.HASTY) else None
        kind = str(chocolate_at(events, facts, float(event["t_s"])).get("kind", "dark"))
        found.append(TemperTest(float(event["t_s"]), kind, room_c_of(facts), minutes, None, None, verdict, BY_WARMER))
    return found


def _minutes(took_s: Any) -> float | None:
    return took_s / 60 if isinstance(took_s, int) and 0 <= took_s <= 60 * LONGEST_MIN else None


def room_c_of(facts: dict[str, Any]) -> float | None:
    """Room temperature of a hold, °C: measured for this hold, or else the rig's setting."""
    room_c = facts.get("room_c")
    rig = facts.get("rig")
    return room_c if room_c is not None else rig.get("room_c") if isinstance(rig, dict) else None


def read_tests(folder: Path) -> list[TemperTest]:
    """The tests stored in a hold's folder.

    Raises
    ------
    FileError
        When the file is not such a record, or cannot be this hold's. A test decides whether a bowl is in temper.
    """
    path = folder / TESTS
    if not os.path.isfile(path):
        return []
    tests = read_struct(path, list[TemperTest], "a record of temper tests")
    facts = read_facts(folder) if tests else {}
    wrong = next(filter(None, (_contradiction(test, folder, facts) for test in tests)), None)
    if wrong:
        raise FileError(f"{path} does not fit its hold", got=wrong,
                        hint="it is damaged, or another hold's: move it away, and enter the tests again")
    return tests


def _contradiction(test: TemperTest, folder: Path, facts: dict[str, Any]) -> str:
    """What a test says that cannot be so in its hold, in words; mostly nothing."""
    lasted_s, own = facts.get("duration_s"), facts.get("profile")
    if isinstance(lasted_s, int | float) and test.t_s > lasted_s + END_S:
        return f"a test at {clock_words(test.t_s)} of a hold of {clock_words(lasted_s)}"
    if not isinstance(own, dict) or not {"kind", "set_min", "fail_min"} <= set(own):
        return ""
    profile = own
    if test.kind != own.get("kind"):
        notes: list[str] = []
        profile = chocolate_at(read_events(folder, notes), facts, test.t_s)
        if test.kind != profile.get("kind") and not notes:
            return f"a test of {terms.kind(test.kind)} in a hold of {terms.kind(str(profile.get('kind')))}"
    took_min = None if test.minutes is None else max(0.0, test.minutes - ROUND_MIN)
    if test.verdict in PASSED and judge(profile, took_min, test.gloss, test.streaks) == stages.FAILED:
        return f"a test that passed: {test.words().strip()}"
    return ""


def save_tests(folder: Path, tests: list[TemperTest]) -> None:
    """Write the record whole; the one it replaces can be brought back."""
    save_entry(folder / TESTS, json.dumps([asdict(test) for test in tests], indent=2) + "\n")
