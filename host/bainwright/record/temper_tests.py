"""The temper tests of a hold, kept beside its log: how long a piece took to set, how it looked, the verdict."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from bainboard import stages
from bainwright.core.errors import FileError, UseError
from bainwright.core.os_errors import reason
from bainwright.core.units import clock_words
from bainwright.files.chocolate import bundled_profiles, load_profile
from bainwright.record.reader import FACTS, HoldLog, folder_of, read_log
from bainwright.words import terms

TESTS = "temper.json"
GLOSSES, STREAKS = ("good", "dull"), ("none", "some", "many")
LONGEST_MIN = 120.0  # nobody waits longer at a blade
Say = Callable[..., None]


@dataclass(frozen=True)
class Test:
    """One temper test.

    Attributes
    ----------
    t_s : float
        When its verdict fell, in the hold.
    kind : str
        Of the chocolate.
    room_c : float or None
        Of the room in which the piece set.
    minutes : float or None
        Until it had set; None when it did not.
    gloss, streaks : str or None
        How it looked; None when nobody said.
    verdict : str
        ``good``, ``slow``, ``failed`` or ``late``, by the chocolate's own times and by how it looked.
    by : str
        ``warmer``: timed by the board; ``person``: told afterwards.
    """

    t_s: float
    kind: str
    room_c: float | None
    minutes: float | None
    gloss: str | None
    streaks: str | None
    verdict: str
    by: str

    def words(self) -> str:
        """In a sentence."""
        took = "did not set" if self.minutes is None else f"set after {self.minutes:.1f} min"
        looks = [f"gloss {self.gloss}" if self.gloss else "", f"streaks {self.streaks}" if self.streaks else ""]
        seen = ", ".join([took, *(look for look in looks if look)])
        return f"{clock_words(self.t_s):>8}  {terms.kind(self.kind)}: {seen}: {terms.VERDICTS[self.verdict]}"


def judge(profile: dict[str, Any], minutes: float | None, gloss: str | None, streaks: str | None) -> str:
    """The verdict by the chocolate's times; what sets in time but looks bad is not in temper either.

    Parameters
    ----------
    profile : dict
        `set_min` and `fail_min` of the chocolate.
    minutes : float or None
        Until it had set; None when it did not.
    gloss, streaks : str or None
        How it looked.
    """
    if minutes is None or streaks == "many" or (gloss == "dull" and streaks == "some"):
        return stages.FAILED
    found = str(stages.verdict(profile, minutes * 60000))
    if found == stages.LATE:  # told as a time, so somebody saw it: it did set too late
        return stages.FAILED
    return stages.SLOW if gloss == "dull" or streaks == "some" else found


def chocolate_at(events: list[dict[str, Any]], facts: dict[str, Any], t_s: float) -> dict[str, Any]:
    """Figures of the chocolate that is in the bath at a moment: the hold's own, until another bowl came.

    The log has that one's name only. One that nobody here knows is called by it, and its times are the hold's own.
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


def of_events(events: list[dict[str, Any]], facts: dict[str, Any]) -> list[Test]:
    """The tests that the warmer itself timed."""
    found = []
    for event in events:
        if event.get("event") != "tested":
            continue
        verdict, took_s = str(event.get("verdict")), event.get("took_s")
        minutes = took_s / 60 if isinstance(took_s, int) and verdict in (stages.GOOD, stages.SLOW) else None
        kind = str(chocolate_at(events, facts, float(event["t_s"])).get("kind", "dark"))
        found.append(
            Test(float(event["t_s"]), kind, _room(facts), minutes, None, None, verdict, "warmer"))
    return found


def _room(facts: dict[str, Any]) -> float | None:
    room_c = facts.get("room_c")
    rig = facts.get("rig")
    return room_c if room_c is not None else rig.get("room_c") if isinstance(rig, dict) else None


def read_tests(folder: Path) -> list[Test]:
    """The tests kept in a hold's folder.

    Raises
    ------
    FileError
        When the file is not such a record.
    """
    path = folder / TESTS
    if not path.is_file():
        return []
    try:
        return [Test(**each) for each in json.loads(path.read_text())]
    except (OSError, ValueError, TypeError) as failed:
        raise FileError(f"{path} is no record of temper tests", got=str(failed)) from failed


def keep_tests(folder: Path, tests: list[Test]) -> None:
    """Write the record: old or new, never half."""
    fresh = folder / (TESTS + ".new")
    try:
        fresh.write_text(json.dumps([asdict(test) for test in tests], indent=2) + "\n")
        fresh.replace(folder / TESTS)
    except OSError as failed:
        raise FileError(f"{folder / TESTS} cannot be written", got=reason(failed)) from failed


# -- the command -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class TemperAsked:
    """The options as typed."""

    log: str
    minutes: float | None = None
    not_set: bool = False
    gloss: str | None = None
    streaks: str | None = None
    room: str | None = None


def temper_and_tell(asked: TemperAsked, *, as_json: bool, say: Say) -> int:
    """`bain temper`: show the tests of a hold, complete its last one, or add one.

    Returns
    -------
    int
        The exit status: 1 when the last test did not pass.
    """
    folder = folder_of(asked.log)
    log = read_log(folder)
    tests = read_tests(folder) or of_events(log.events, log.facts)
    if _tells(asked):
        tests = _with(tests, asked, log)
        keep_tests(folder, tests)
    if as_json:
        say(json.dumps([asdict(test) for test in tests], indent=2))
    else:
        for test in tests:
            say(test.words())
    if not tests:
        say("bain: no temper test in this hold; --minutes adds one", err=True)
        return 0
    return 0 if tests[-1].verdict in (stages.GOOD, stages.SLOW) else 1


def _tells(asked: TemperAsked) -> bool:
    return asked.minutes is not None or asked.not_set or bool(asked.gloss or asked.streaks)


def _with(tests: list[Test], asked: TemperAsked, log: HoldLog) -> list[Test]:
    """With what was told: looks alone complete the last test, a time makes one of its own."""
    from bainwright.core.units import parse_room_c

    facts, end_s = log.facts, float(log["t_s"][-1])
    profile = facts.get("profile")
    if not isinstance(profile, dict) or "set_min" not in profile:
        raise FileError(f"{FACTS} does not say which chocolate this was", hint="a hold's folder of this version has it")
    if asked.minutes is not None and asked.not_set:
        raise UseError("--minutes and --not-set contradict each other", hint="leave one of them out")
    if asked.minutes is not None and not 0.0 < asked.minutes <= LONGEST_MIN:  # NaN fails too
        raise UseError("--minutes", got=f"{asked.minutes:g}", wanted=f"above 0 and at most {LONGEST_MIN:g}",
                       hint="--not-set says that it did not")
    room_c = parse_room_c(asked.room) if asked.room else None
    looks_alone = asked.minutes is None and not asked.not_set
    profile = chocolate_at(log.events, facts, tests[-1].t_s if looks_alone and tests else end_s)
    kind = str(profile["kind"])
    if not looks_alone:
        verdict = judge(profile, asked.minutes, asked.gloss, asked.streaks)
        made = Test(end_s, kind, room_c if room_c is not None else _room(facts), asked.minutes, asked.gloss,
                    asked.streaks, verdict, "person")
        return [*tests, made]
    if not tests:
        raise UseError("there is no test in this hold to complete", hint="say how long it took: --minutes 4.5")
    last = tests[-1]
    gloss, streaks = asked.gloss or last.gloss, asked.streaks or last.streaks
    done = Test(last.t_s, kind, room_c if room_c is not None else last.room_c, last.minutes, gloss, streaks,
                judge(profile, last.minutes, gloss, streaks), last.by)
    return [*tests[:-1], done]
