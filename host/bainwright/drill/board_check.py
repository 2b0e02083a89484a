"""Does the firmware run on this board as it should? Measured on the bare board, no heater plugged in, in 20 minutes."""

from __future__ import annotations

import datetime
import json
import platform
import statistics
import time
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

from bainwright import __version__
from bainwright.core.atomic_write import save_file
from bainwright.core.errors import LinkError, RefusedError
from bainwright.drill.hands import Hands
from bainwright.files.documents import document, short_hash
from bainwright.link.messages import Status
from bainwright.link.session import Session
from bainwright.link.stopping import after_refusal, stop
from bainwright.rigs import bus

REQUESTS = 100
SLOW_S = 2.0  # chosen: a person who presses a key waits no longer
LISTEN_S = 300.0  # chosen: a few collections of memory, and several writes of the log
GAP_S = 3.0  # chosen: between two lines; the watchdog resets at 4 s
DRIFT = 0.02  # chosen: far over a crystal's 100 ppm (data sheets, from memory), far under what a hold would notice
LEFT_MS = 3600 * 1000  # chosen: longer than it listens; a board that the PC leaves without a word ends by itself
BACK_S = 120.0  # real time to plug a board in again
UNPLUGGED = "Pull the heater's plug X1 and leave it out. The probes may be plugged in."
PIN = "Does a meter show under 0.1 V from the heater's pin (pin 20 of a Pico) to 0 V?"
CUT = "Pull the board's USB plug, wait ten seconds, and plug it in again"


class Checked(NamedTuple):
    """One check: its name, whether it passed, its figures, and words."""

    name: str
    passed: bool
    figures: dict[str, Any]
    note: str = ""


class BoardCheck:
    """One board, and whoever is at it.

    Parameters
    ----------
    session : Session
        The board, idle.
    hands : Hands
        Who answers; a simulated board's are asked nothing.
    say : callable
        Shows how it goes.
    listen_s : float
        How long to listen to it, at rest and in its self-test.
    clock : callable
        Seconds that pass.
    """

    def __init__(self, session: Session, hands: Hands, say: Callable[[str], None], listen_s: float,
                 clock: Callable[[], float] = time.monotonic) -> None:  # fmt: skip
        self.session, self.hands, self._say = session, hands, say
        self._listen_s, self._clock = listen_s, clock
        self.hello = session.link.hello()

    def run(self) -> list[Checked]:
        """Every check, in the table's order."""
        done: list[Checked] = []
        for title, check in (
            ("it answers", self._answers), ("it stores its settings", self._stores), ("it reads its probes", self._bus),
            ("its lines at rest", self._at_rest), ("its heater pin is low", self._pin),
            ("its lines in a self-test", self._in_self_test), ("it comes back after a power cut", self._power_cut),
        ):  # fmt: skip
            self._say(f"{len(done) + 1}. {title}")
            done.append(check())
            self._say(f"   {'Passed' if done[-1].passed else 'FAILED'}: {_words(done[-1])}")
        return done

    def _answers(self) -> Checked:
        took_s = []
        for _ in range(REQUESTS):
            from_s = self._clock()
            self.session.link.hello()
            took_s.append(self._clock() - from_s)
        figures = {"median_ms": round(1e3 * statistics.median(took_s)), "worst_ms": round(1e3 * max(took_s))}
        return Checked("answers", max(took_s) < SLOW_S, figures)

    def _stores(self) -> Checked:
        payload = document("settings", self.session.link.settings(self.hello))
        from_s = self._clock()
        self.session.link.upload("settings", payload)
        same = self.session.link.download("settings") == payload
        self.hello = self.session.link.hello()
        return Checked("stores", same and self.hello["settings"] == short_hash(payload),
                       {"bytes": len(payload), "took_s": round(self._clock() - from_s, 2)})  # fmt: skip

    def _bus(self) -> Checked:
        there = bus.look(self.session.link)
        temps_c = [probe.temp_c for probe in there.probes]
        return Checked("probes", None not in temps_c, {"board": there.kind, "found": len(temps_c), "temps_c": temps_c})

    def _at_rest(self) -> Checked:
        return self._lines("rest")

    def _in_self_test(self) -> Checked:
        try:
            self.session.link.request("start", stage="work", for_ms=LEFT_MS)
        except RefusedError as refused:
            told = after_refusal(self.session, refused)
            return Checked("self_test", False, {}, f"{told}: clear it, and check again")
        found = self._lines("self_test")
        return found if stop(self.session) else Checked("self_test", False, found.figures, "told to stop, it went on")

    def _lines(self, name: str) -> Checked:
        """Listen: is each line there, in time, and by a clock that agrees with this PC's?"""
        seen: list[tuple[float, Status]] = []
        self.session.link.poll()
        from_s = self._clock()
        while self._clock() - from_s < self._listen_s:
            now_s = self._clock()
            seen += [(now_s, message) for message in self.session.link.poll() if isinstance(message, Status)]
        if len(seen) < 2:
            return Checked(name, False, {"lines": len(seen)}, "it fell silent")
        lines = [line for _, line in seen]
        missing = lines[-1].status - lines[0].status + 1 - len(lines)
        gap_s = max(later - earlier for (earlier, _), (later, _) in pairwise(seen))
        figures: dict[str, Any] = {"lines": len(lines), "missing": missing, "longest_gap_s": round(gap_s, 2)}
        if self.session.simulated:  # its time is not this PC's
            return Checked(name, missing == 0, figures)
        board_s, here_s = (lines[-1].t - lines[0].t) / 1e3, seen[-1][0] - seen[0][0]
        drift = board_s / here_s - 1.0 if board_s and here_s else 0.0  # at rest the clock of the hold stands at 0
        figures["clock_percent"] = round(100.0 * drift, 2)
        return Checked(name, missing == 0 and gap_s < GAP_S and abs(drift) < DRIFT, figures)

    def _pin(self) -> Checked:
        if self.session.simulated:
            return Checked("heater_pin", True, {}, "a simulated board has no pin to measure")
        return Checked("heater_pin", self.hands.seen(PIN), {})

    def _power_cut(self) -> Checked:
        if self.session.simulated:
            return Checked("power_cut", True, {}, "left out on a simulated board")
        if not self.hands.seen(f"{CUT}. Done?"):
            return Checked("power_cut", False, {}, "not done")
        give_up_s = self._clock() + BACK_S
        while not self.session.reopen():
            if self._clock() > give_up_s:
                raise LinkError("the board did not come back", hint="look at its cable, and check again")
        after = self.session.link.hello()
        same = after["settings"] == self.hello["settings"] and after["version"] == self.hello["version"]
        return Checked("power_cut", same and after["state"] in ("idle", "trip"), {"state": after["state"]})


def _words(check: Checked) -> str:
    figures = ", ".join(f"{name} {value}" for name, value in check.figures.items())
    return ", ".join(part for part in (figures, check.note) if part) or check.name


def write_report(path: Path, check: BoardCheck, done: list[Checked], now: datetime.datetime) -> dict[str, Any]:
    """The report, also stored as a file to send: what board, what firmware, what PC, and each check."""
    about = {name: check.hello.get(name) for name in ("version", "python", "wire", "board")}
    report = {
        "at": now.isoformat(timespec="seconds"), "simulated": check.session.simulated,
        "passed": all(each.passed for each in done), "board": about,
        "pc": {"toolkit": __version__, "python": platform.python_version(), "system": platform.platform()},
        "checks": [each._asdict() for each in done],
    }  # fmt: skip
    save_file(path, json.dumps(report, indent=2, ensure_ascii=False) + "\n")
    return report
