"""Going through the drill: bring the warmer to where an item begins, have it done, watch it and time it."""

from __future__ import annotations

import contextlib
import datetime
import time
from collections.abc import Callable
from itertools import islice
from typing import Any

from bainboard import faults
from bainwright.core.errors import LinkError, RefusedError
from bainwright.core.progress import Progress, progress
from bainwright.drill.hands import Hands
from bainwright.drill.heater_power import verdict
from bainwright.drill.items import BY_NAME, HOLD, IDLE, PASS_S, RUNNING, TRIP, Item, whole_test_s
from bainwright.drill.record import Result, hash_now
from bainwright.drill.said import confirms, event_name, is_clear, is_good, is_heating, is_holding, judged, words
from bainwright.link.messages import Message, Status
from bainwright.link.session import Session
from bainwright.link.stopping import stop
from bainwright.words import terms

FLOAT_PASSES = 20  # chosen: several times what the board waits
MOST_POLLS = 100  # chosen: for what came since the last look
SILENT_S = 30.0  # real time; a live board speaks every second, a virtual one may compute for a while
STRAYS_MOST = 20  # chosen: events that were not the board's, in one item
WARNED_S = 5.0  # chosen: a warning's bit is in the next status line
LEFT_MS = 2 * 3600 * 1000  # chosen: longer than any drill; a warmer that the PC leaves without a word ends by itself
BACK_S = 120.0  # real time to plug a board in again

MASKED = "water or plate moved by itself, so guard and switch were not judged: let it come to rest, and drill again"
OPENED_ITSELF = "the firmware opened the relay itself, so this says nothing about the gate: drill again"
NOT_SEEN_LOW = "the board saw no low water: look for a float that hangs, and for its circuit bridged"

FEW_LINES = 30  # chosen: after so few, the next ones of a restarted board may not show it

Outcome = tuple[bool, float | None, str]  # passed, s it took, and words


class Drill:
    """One board and whoever is at it.

    Parameters
    ----------
    session : Session
        The board.
    hands : Hands
        Who does what an item asks for.
    settings : dict
        The board's settings.
    say : callable
        Shows how it goes.
    now : callable
        The date and time, for the record.
    """

    def __init__(self, session: Session, hands: Hands, settings: dict[str, Any], say: Callable[[str], None],
                 now: Callable[[], datetime.datetime]) -> None:  # fmt: skip
        self.session, self.hands, self.settings, self._say, self._now = session, hands, settings, say, now
        self._last: Status | None = None
        self._missed: list[Message] = []

    # -- one item ----------------------------------------------------------------------------------------------------

    def test(self, item: Item) -> Result:
        """Have an item done and judge it; with `LinkError` or `RefusedError` if the board is gone, or cannot be
        brought to where the item begins.
        """
        item = item.at(self.settings)
        why = self.hands.cannot(item)
        if why:
            return Result(False, self._now(), hash_now(item, self.settings), note=why, version=item.version)
        self._bring(item.when)
        limit_s = None if item.limit is None else item.limit(self.settings)
        if limit_s is not None and limit_s > 10:
            self._say(f"  This takes up to {limit_s / 60:.0f} min.")
        passed, took_s, note = self._way(item)(item)
        if passed and limit_s is not None and took_s is not None and not took_s <= limit_s:
            passed, note = False, f"it took {took_s:.1f} s, wanted at most {limit_s:.1f} s"
        return Result(passed, self._now(), hash_now(item, self.settings), took_s, limit_s, note, item.version)

    def rest(self) -> None:
        """Leave the warmer idle, its trips cleared."""
        self._bring(IDLE)

    def _way(self, item: Item) -> Callable[[Item], Outcome]:
        ways: dict[str, Callable[[Item], Outcome]] = {
            "switch_link": self._refused_start, "guard_link": self._refused_start, "self_test": self._passed_test,
            "bowl_probe": self._reported, "water_probe": self._reported, "hot_water": self._reported,
            "gate": self._gated, "pause": self._paused, "float": self._floated, "host_gone": self._alone,
            "latch_kept": self._latched, "button": self._cleared, "power": self._measured,
        }  # fmt: skip
        return ways.get(item.name, self._inspected)

    def _inspected(self, item: Item) -> Outcome:
        self.hands.do(item, self._passes)
        passed = self.hands.seen("Was it so?")
        self.hands.undo(item, self._passes)
        return passed, None, "" if passed else "the person saw something else"

    def _measured(self, item: Item) -> Outcome:
        """A meter's figures against the settings: nothing that the board reads says how strong its heater is."""
        self.hands.do(item, self._passes)
        ohms = self.hands.measured("Ohms of the heater? Of each mat, where there are several:")
        volts = self.hands.measured("Volts of the supply?")
        passed, why = verdict(self.settings, volts[0], ohms)
        self.hands.undo(item, self._passes)
        return passed, None, why

    def _gated(self, item: Item) -> Outcome:
        """The relay must open while the firmware wants it closed: only the gate can do that."""
        if self._await(is_heating, self.hands.patience_s) is None:
            return False, None, "it gave no heat: let water or plate be cold, and drill again"
        self.hands.do(item, self._passes)
        passed = self.hands.seen("Did the relay open within 2 s, and stay open?")
        self._now_ms()  # read everything that came meanwhile
        self._passes(1)
        closed = self._last is not None and self._last.state == "hold"  # the guard pin is high in every pass of a hold
        self.hands.undo(item, self._passes)
        if passed and not closed:
            return False, None, OPENED_ITSELF
        return passed, None, "" if passed else "the gate held the relay without a heartbeat"

    def _refused_start(self, item: Item) -> Outcome:
        self.hands.do(item, self._passes)
        self._bring(IDLE)
        self._start()
        limit_s = item.limit(self.settings) if item.limit else 0.0
        seen = self._await_sure(lambda m: event_name(m) in ("trip", "checked"), 2 * limit_s)
        took_s = self._at_s(seen)
        if seen is not None and event_name(seen) == "checked":
            self._stop()
        self.hands.undo(item, self._passes)
        return judged(item, seen, took_s)

    def _passed_test(self, item: Item) -> Outcome:
        self._start()
        limit_s = item.limit(self.settings) if item.limit else 0.0
        seen = self._await_sure(lambda m: event_name(m) in ("trip", "checked"), 3 * limit_s)
        if not isinstance(seen, dict) or seen["event"] != "checked":
            return False, self._at_s(seen), words(seen)
        if seen["masked"]:
            return False, self._at_s(seen), MASKED
        # Without a guard relay the rest is tested all the same; its own items say that the guard was not.
        return True, self._at_s(seen), str(seen.get("skipped", ""))

    def _reported(self, item: Item) -> Outcome:
        """Time the reaction from the last good reading."""
        latches = faults.row(item.fault)[faults.REACTION] == faults.LATCH
        kind = "trip" if latches else "warn"  # a warning may come before its trip
        good_ms = self._now_ms()
        self.hands.do(item, self._passes)

        def reports_it(message: Message) -> bool:
            nonlocal good_ms
            if isinstance(message, Status) and is_good(item, message, self.settings["hard_limit_c"]):
                good_ms = message.t
            return isinstance(message, dict) and message.get("event") == kind and message["fault"] == item.fault

        seen = self._await_sure(reports_it, self.hands.patience_s)
        took_s = None if seen is None else self._at_s(seen, good_ms)
        passed, took_s, why = judged(item, seen, took_s)
        if passed and latches:
            passed, why = self._off()
        self.hands.undo(item, self._passes)
        return passed, took_s, why

    def _paused(self, item: Item) -> Outcome:
        with self.session.held():
            from_ms = self._now_ms()
            self.session.link.request("pause")
        seen = self._await_sure(lambda m: event_name(m) == "paused", self.hands.patience_s)
        took_s = self._at_s(seen, from_ms) if seen else None
        passed, why = self._off() if seen else (False, "it did not pause")
        self._request("resume")
        return passed, took_s, why

    def _floated(self, item: Item) -> Outcome:
        """The board must see it: the relay opens without the board."""
        self.hands.do(item, self._passes)
        seen = self._await_sure(lambda m: event_name(m) == "water_low", self.hands.patience_s)
        passed, why = self._off() if seen else (False, NOT_SEEN_LOW)
        self.hands.undo(item, self._passes)
        if seen:
            self._resume()
        return passed, None, why

    def _resume(self) -> None:
        """Resume once the float believes that the water is back, which takes it some passes."""
        for _ in range(FLOAT_PASSES):
            with contextlib.suppress(RefusedError):
                self._request("resume")
                return
            self._passes(1)
        self._request("resume")

    def _alone(self, item: Item) -> Outcome:
        before = self.session.link.hello()
        self.hands.vanish()
        after = self.session.link.hello()
        self._missed.clear()
        same = after["hold"] == before["hold"] and after["t"] > before["t"] and after["state"] in ("check", "hold")
        return same, None, "" if same else f"it was found {terms.STATES.get(after['state'], after['state'])}"

    def _latched(self, item: Item) -> Outcome:
        before = self.session.link.hello()
        self._missed.clear()
        self.hands.do(item, self._passes)
        if not self._restarts():
            return False, None, "it has not restarted: cut its power, and drill again"
        after = self.session.link.hello()
        same = (after["state"], after["fault"]) == ("trip", before["fault"])
        return same, None, "" if same else f"it came back {terms.STATES.get(after['state'], after['state'])}"

    def _restarts(self) -> bool:
        """Do its line numbers begin again? Its event alone may be another board's."""
        for _ in range(STRAYS_MOST):
            before = self._last.status if self._last else 0
            with contextlib.suppress(LinkError):  # the cable may be what feeds it
                self._await(lambda m: event_name(m) == "boot", self.hands.patience_s)
            self._find()
            line = self._await(lambda m: isinstance(m, Status), WARNED_S)
            if before < FEW_LINES or not isinstance(line, Status) or line.status < before:
                return True
        return False

    def _cleared(self, item: Item) -> Outcome:
        self.hands.do(item, self._passes)
        seen = self._await_sure(lambda m: is_clear(m) or event_name(m) == "refused", self.hands.patience_s)
        passed = seen is not None and is_clear(seen)
        return passed, None, "" if passed else words(seen)

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
            self._stop()
            self._passes(2)
        if when in (RUNNING, HOLD) and state == "idle":
            self._start()
        if when == HOLD and state != "hold":
            if state == "pause":
                self._request("resume")
            over = self._await_sure(lambda m: is_holding(m) or event_name(m) in ("trip", "ended"), 3 * self._test_s())
            if over is None:
                raise LinkError("the self-test did not end", hint="look at the warmer, then drill again")

    def _trip(self) -> None:
        item = BY_NAME["water_probe"]
        self._bring(RUNNING)
        self.hands.do(item, self._passes)
        self._await_sure(lambda m: event_name(m) == "trip", self.hands.patience_s)
        self.hands.undo(item, self._passes)

    def _clear(self) -> None:
        """A trip from before: only its button clears it."""
        item = BY_NAME["button"]
        self.hands.do(item, self._passes)
        self._await_sure(is_clear, self.hands.patience_s)

    def _start(self) -> None:
        self._missed.clear()
        with self.session.held():
            answer = self.session.link.request("start", drop_earlier=True, stage="work", for_ms=LEFT_MS)
        self._say(f"  The self-test runs, {answer['check_s']} s at most if all is well.")
        self._last = None

    def _stop(self) -> None:
        if not stop(self.session, see=self._note):
            raise LinkError("the warmer was told to stop, and does not report that it is off")

    def _note(self, message: Message) -> None:
        if isinstance(message, Status):
            self._last = message

    def _test_s(self) -> float:
        return whole_test_s(self.settings)

    def _find(self) -> None:
        """Find the board again after its power may have gone."""
        give_up_s = time.monotonic() + BACK_S
        with progress("  looking for the warmer"):
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
        """The board's own clock of the hold; what came before now is past, and no later wait may find it."""
        self._missed.clear()
        for messages in islice(iter(self.session.link.poll, []), MOST_POLLS):
            self._last = next((each for each in reversed(messages) if isinstance(each, Status)), self._last)
        return self._last.t if self._last else 0

    def _at_s(self, seen: Message | None, from_ms: int = 0) -> float | None:
        """When something was reported; a hold that has just ended gives no time of its own."""
        if seen is None:
            return None
        at_ms = seen.t if isinstance(seen, Status) else int(seen["t"])
        return max(0, max(at_ms, self._last.t if self._last else 0) - from_ms) / 1000

    def _passes(self, count: int) -> None:
        """Let so many of the board's passes go by."""
        left = count

        def gone(message: Message) -> bool:
            nonlocal left
            left -= isinstance(message, Status)
            return left <= 0

        self._await(gone, count * PASS_S + 5, store=True)

    def _await_sure(self, wanted: Callable[[Message], bool], for_s: float) -> Message | None:
        """As `_await`, but what the board itself does not confirm is passed over: it was another board's."""
        for _ in range(STRAYS_MOST):
            seen = self._await(wanted, for_s)
            if seen is None or self._is_confirmed(seen):
                return seen
        return None

    def _is_confirmed(self, seen: Message) -> bool:
        if isinstance(seen, dict) and event_name(seen) == "warn":
            last = self._last  # the time that it took ends with the event

            def shows_it(message: Message) -> bool:
                return isinstance(message, Status) and message.warn >> seen["fault"] & 1 == 1

            shown, self._last = self._await(shows_it, WARNED_S, store=True), last
            return shown is not None
        with self.session.held():
            return confirms(self.session.link.hello(), seen)

    def _await(self, wanted: Callable[[Message], bool], for_s: float, *, store: bool = False) -> Message | None:
        """The first message that is wanted; None after so many seconds of the board's.

        A short wait stores what it passes over (`store`), because the reaction to an act may come within it.
        """
        if not store:
            over = [message for message in self._missed if wanted(message)]
            self._missed.clear()
            if over:
                return over[0]
        passes, heard_s = 0, time.monotonic()
        with Progress("  waiting", 0) as shown:
            while passes * PASS_S <= for_s:
                shown.to(passes)
                messages = self.session.link.poll()
                if any(isinstance(message, Status) for message in messages):
                    heard_s = time.monotonic()
                elif time.monotonic() - heard_s > SILENT_S:
                    raise LinkError("the board fell silent", hint="look at its cable; bain drill resumes there")
                found: Message | None = None
                for message in messages:
                    if found is not None:
                        self._missed.append(message)
                        continue
                    if isinstance(message, Status):
                        passes, self._last = passes + 1, message
                    if store:
                        self._missed.append(message)
                    if wanted(message):
                        found = message
                if found is not None:
                    return found
        return None
