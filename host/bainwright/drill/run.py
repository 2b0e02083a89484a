"""Walking through the drill: bring the warmer to where an item needs it, have it done, watch, time, and keep it."""

from __future__ import annotations

import contextlib
import datetime
import time
from collections.abc import Callable
from typing import Any

from bainboard import faults
from bainwright.core.errors import LinkError
from bainwright.drill.hands import Hands
from bainwright.drill.items import BY_NAME, HOLD, IDLE, PASS_S, RUNNING, TRIP, Item, whole_test
from bainwright.drill.record import Result, belongs_now
from bainwright.files.documents import document, short_hash
from bainwright.link.messages import Message, Status
from bainwright.link.session import Session
from bainwright.words import terms

SILENT_S = 30.0  # real time; a live board speaks every second, a virtual one may compute for a while
BACK_S = 120.0  # real time to plug a board in again

MASKED = "the water moved by itself, so guard and switch were not judged: let it come to rest, and drill again"

Found = tuple[bool, float | None, str]  # passed, s it took, and words


class Drill:
    """One board and whoever is at it.

    Parameters
    ----------
    session : Session
        The board.
    hands : Hands
        Who does what is asked.
    settings : dict
        The board's settings.
    say : callable
        Tells how it goes.
    now : callable
        The date and time, for the record.
    """

    def __init__(self, session: Session, hands: Hands, settings: dict[str, Any], say: Callable[[str], None],
                 now: Callable[[], datetime.datetime]) -> None:  # fmt: skip
        self.session, self.hands, self.settings, self._say, self._now = session, hands, settings, say, now
        self._last: Status | None = None
        self._kept: list[Message] = []

    # -- one item ----------------------------------------------------------------------------------------------------

    def prove(self, item: Item) -> Result:
        """Have an item done and judge it.

        Returns
        -------
        Result
            Passed or not, with the time it took.

        Raises
        ------
        LinkError, RefusedError
            If the board is gone, or will not come to where the item begins.
        """
        why = self.hands.cannot(item)
        if why:
            return Result(False, self._now(), belongs_now(item, self.settings), said=why)
        self._bring(item.when)
        limit_s = None if item.limit is None else item.limit(self.settings)
        if limit_s is not None and limit_s > 10:
            self._say(f"  This takes up to {limit_s / 60:.0f} min.")
        passed, took_s, said = self._way(item)(item)
        if passed and limit_s is not None and took_s is not None and not took_s <= limit_s:
            passed, said = False, f"it took {took_s:.1f} s, wanted at most {limit_s:.1f} s"
        return Result(passed, self._now(), belongs_now(item, self.settings), took_s, limit_s, said)

    def rest(self) -> None:
        """Leave the warmer off, its trips cleared."""
        self._bring(IDLE)

    def _way(self, item: Item) -> Callable[[Item], Found]:
        ways: dict[str, Callable[[Item], Found]] = {
            "switch_link": self._refused_start, "guard_link": self._refused_start, "self_test": self._passed_test,
            "bowl_probe": self._told, "water_probe": self._told, "hot_water": self._told,
            "pause": self._paused, "host_gone": self._alone, "latch_kept": self._kept_latch, "button": self._cleared,
        }  # fmt: skip
        return ways.get(item.name, self._looked_at)

    def _looked_at(self, item: Item) -> Found:
        self.hands.do(item, self._passes)
        passed = self.hands.seen("Was it so?")
        self.hands.undo(item, self._passes)
        return passed, None, "" if passed else "seen otherwise"

    def _refused_start(self, item: Item) -> Found:
        self.hands.do(item, self._passes)
        self._bring(IDLE)
        self._start()
        limit_s = item.limit(self.settings) if item.limit else 0.0
        said = self._watch(lambda m: _event(m) in ("trip", "checked"), 2 * limit_s)
        took_s = self._at_s(said)
        if said is not None and _event(said) == "checked":
            self._request("stop")
        self.hands.undo(item, self._passes)
        return self._judged(item, said, took_s)

    def _passed_test(self, item: Item) -> Found:
        self._start()
        limit_s = item.limit(self.settings) if item.limit else 0.0
        said = self._watch(lambda m: _event(m) in ("trip", "checked"), 3 * limit_s)
        if not isinstance(said, dict) or said["event"] != "checked":
            return False, self._at_s(said), _words(said)
        if said["masked"]:
            return False, self._at_s(said), MASKED
        # Without a guard relay the rest is proved all the same; that the guard was not is said by its own items.
        return True, self._at_s(said), str(said.get("skipped", ""))

    def _told(self, item: Item) -> Found:
        """The reaction is timed from the last reading that was as it should be."""
        latches = faults.row(item.tells)[faults.REACTION] == faults.LATCH
        kind = "trip" if latches else "warn"  # a warning may come before its trip
        well_ms = self._now_ms()
        self.hands.do(item, self._passes)

        def told(message: Message) -> bool:
            nonlocal well_ms
            if isinstance(message, Status) and self._is_well(item, message):
                well_ms = message.t
            return isinstance(message, dict) and message.get("event") == kind and message["fault"] == item.tells

        said = self._watch(told, self.hands.waits_s)
        took_s = None if said is None else self._at_s(said, well_ms)
        passed, took_s, why = self._judged(item, said, took_s)
        if passed and latches:
            passed, why = self._off()
        self.hands.undo(item, self._passes)
        return passed, took_s, why

    def _is_well(self, item: Item, status: Status) -> bool:
        if item.tells == faults.BOWL_PROBE:
            return status.bowl is not None
        if item.tells == faults.WATER_PROBE:
            return status.water is not None
        return status.water is not None and status.water < 1000 * self.settings["hard_limit_c"]

    def _paused(self, item: Item) -> Found:
        with self.session.held():
            from_ms = self._now_ms()
            self.session.link.request("pause")
        said = self._watch(lambda m: _event(m) == "paused", self.hands.waits_s)
        took_s = self._at_s(said, from_ms) if said else None
        passed, why = self._off() if said else (False, "it did not pause")
        self._request("resume")
        return passed, took_s, why

    def _alone(self, item: Item) -> Found:
        before = self.session.link.hello()
        self.hands.vanish()
        after = self.session.link.hello()
        self._kept.clear()
        same = after["hold"] == before["hold"] and after["t"] > before["t"] and after["state"] in ("check", "hold")
        return same, None, "" if same else f"it was found {terms.STATES.get(after['state'], after['state'])}"

    def _kept_latch(self, item: Item) -> Found:
        before = self.session.link.hello()
        self._kept.clear()
        self.hands.do(item, self._passes)
        with contextlib.suppress(LinkError):  # the cable may be what feeds it
            self._watch(lambda m: _event(m) == "boot", self.hands.waits_s)
        self._find()
        after = self.session.link.hello()
        same = (after["state"], after["fault"]) == ("trip", before["fault"])
        return same, None, "" if same else f"it came back {terms.STATES.get(after['state'], after['state'])}"

    def _cleared(self, item: Item) -> Found:
        self.hands.do(item, self._passes)
        said = self._watch(lambda m: _is_clear(m) or _event(m) == "refused", self.hands.waits_s)
        passed = said is not None and _is_clear(said)
        return passed, None, "" if passed else _words(said)

    def _judged(self, item: Item, said: Message | None, took_s: float | None) -> Found:
        if isinstance(said, dict) and said.get("fault") == item.tells:
            return True, took_s, ""
        return False, took_s, f"wanted {faults.row(item.tells)[faults.NAME]}, got {_words(said)}"

    def _off(self) -> tuple[bool, str]:
        """Is the heat off and the guard open, two passes later?"""
        self._passes(2)
        if self._last is not None and self._last.duty != 0:
            return False, "the heat stayed on"
        if self.settings["guard"] and not self.hands.guard_open():
            return False, "the guard relay stayed closed"
        return True, ""

    # -- bringing it there -------------------------------------------------------------------------------------------

    def _bring(self, when: str) -> None:
        """Where an item begins, from wherever the warmer is."""
        if when not in (IDLE, RUNNING, HOLD, TRIP):
            return
        self._find()
        state = self.session.link.hello()["state"]
        if when == TRIP:
            if state != "trip":
                self._trip()
            return
        if state == "trip":
            self._clear()
            state = "idle"
        if when == IDLE and state != "idle":
            self._request("stop")
            self._passes(2)
        if when in (RUNNING, HOLD) and state == "idle":
            self._start()
        if when == HOLD and state != "hold":
            if state == "pause":
                self._request("resume")
            elif self._watch(lambda m: _event(m) in ("checked", "ended"), 3 * self._test_s()) is None:
                raise LinkError("the self-test did not end", hint="look at the warmer, then drill again")

    def _trip(self) -> None:
        item = BY_NAME["water_probe"]
        self._bring(RUNNING)
        self.hands.do(item, self._passes)
        self._watch(lambda m: _event(m) == "trip", self.hands.waits_s)
        self.hands.undo(item, self._passes)

    def _clear(self) -> None:
        """A trip from before: only its button clears it."""
        item = BY_NAME["button"]
        self.hands.do(item, self._passes)
        self._watch(_is_clear, self.hands.waits_s)

    def _start(self) -> None:
        self._kept.clear()
        with self.session.held():
            answer = self.session.link.request("start", drop_earlier=True, stage="work", for_ms=0)
        self._say(f"  The self-test runs, {answer['check_s']} s at most if all is well.")
        self._last = None

    def _test_s(self) -> float:
        return whole_test(self.settings)

    def _find(self) -> None:
        """The board, after its power may have gone."""
        give_up_s = time.monotonic() + BACK_S
        while True:
            try:
                self.session.link.hello()
                return
            except LinkError:
                if time.monotonic() > give_up_s or self.session.virtual:
                    raise
                self.session.reopen()
                time.sleep(1.0)

    # -- watching ----------------------------------------------------------------------------------------------------

    def _request(self, do: str) -> None:
        with self.session.held():
            self.session.link.request(do)

    def _now_ms(self) -> int:
        """The board's own clock of the hold."""
        while messages := self.session.link.poll():
            self._last = next((each for each in reversed(messages) if isinstance(each, Status)), self._last)
        return self._last.t if self._last else 0

    def _at_s(self, said: Message | None, from_ms: int = 0) -> float | None:
        """When something was told; a hold that just ended tells no time of its own."""
        if said is None:
            return None
        at_ms = said.t if isinstance(said, Status) else int(said["t"])
        return max(0, max(at_ms, self._last.t if self._last else 0) - from_ms) / 1000

    def _passes(self, count: int) -> None:
        """Let so many of the board's passes go by."""
        left = count

        def gone(message: Message) -> bool:
            nonlocal left
            left -= isinstance(message, Status)
            return left <= 0

        self._watch(gone, count * PASS_S + 5, keep=True)

    def _watch(self, wanted: Callable[[Message], bool], for_s: float, *, keep: bool = False) -> Message | None:
        """The first message that is wanted; None after so many seconds of the board's.

        What a short wait passes over is kept, for the reaction to an act may come within it.
        """
        if not keep:
            over = [message for message in self._kept if wanted(message)]
            self._kept.clear()
            if over:
                return over[0]
        passes, heard_s = 0, time.monotonic()
        while passes * PASS_S <= for_s:
            messages = self.session.link.poll()
            if not messages and time.monotonic() - heard_s > SILENT_S:
                raise LinkError("the board fell silent", hint="look at its cable; bain drill goes on where it stopped")
            found: Message | None = None
            for message in messages:
                heard_s = time.monotonic()
                if found is not None:
                    self._kept.append(message)
                    continue
                if isinstance(message, Status):
                    passes, self._last = passes + 1, message
                if keep:
                    self._kept.append(message)
                if wanted(message):
                    found = message
            if found is not None:
                return found
        return None


def prepare(session: Session, settings: dict[str, Any], profile: dict[str, Any]) -> None:
    """Give a resting board what the drill runs on, where it has something else."""
    hello = session.link.hello()
    for what, values in (("settings", settings), ("profile", profile)):
        payload = document(what, values)
        if short_hash(payload) != hello.get(what):
            session.link.upload(what, payload)


def _is_clear(message: Message) -> bool:
    """The event, or a line of a warmer at rest: a line that a slow PC never read must not fail a sound warmer."""
    return _event(message) == "cleared" or (isinstance(message, Status) and message.state == "idle")


def _event(message: Message) -> str:
    return str(message["event"]) if isinstance(message, dict) and "event" in message else ""


def _words(said: Message | None) -> str:
    """What was told instead."""
    if said is None:
        return "nothing in time"
    if isinstance(said, dict) and "fault" in said:
        return terms.fault(int(said["fault"]))
    return str(said.get("why") or said["event"]) if isinstance(said, dict) else "a reading"


