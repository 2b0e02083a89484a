"""Holds, watching, killing and collecting in any order, against a model of its own: what was acknowledged is there.

A row is acknowledged once the PC has written it, or the board has it on its flash. The model knows a row by its hold's
number and its time. It reads the PC's files itself, a line a row.
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import sys
import tempfile
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from unittest import mock

sys.path.insert(0, str(Path(__file__).parents[1] / "host"))

from fake_board import FakeBoard, FakeSession, gone
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)
from logging_board import LoggingBoard

from bainboard import flashlog, framing
from bainwright.core.errors import BainError
from bainwright.display.view import NoView
from bainwright.evening import runner
from bainwright.evening.options import HoldRequest, resolve
from bainwright.files.documents import document, short_hash
from bainwright.record import archive, writer
from bainwright.record.columns import NAMES
from bainwright.report import collect, report

BOARD = "0011223344556677"
FIRST_MS, EVERY_MS = 1000, 10_000  # the board logs the first second and then each tenth: settings' log.status_s
SEGMENT_BYTES = 2000  # an eighth of the board's, so that some minutes fill one
SECONDS = st.sampled_from((1, 5, 9, 10, 11, 60, 61, 400))
PLACES = (
    (os, "replace"), (os, "fsync"), (writer, "_write_all"), (archive.Archive, "add"), (archive.Archive, "finish"),
)  # fmt: skip


RUNS, STEPS = 500, 30  # at full size


def play() -> str:
    """Play them at full size; a find raises, with the shortest order that shows it."""
    size = settings(max_examples=RUNS, stateful_step_count=STEPS, deadline=None, database=None,
                    suppress_health_check=list(HealthCheck))  # fmt: skip
    run_state_machine_as_test(Evenings, settings=size)
    return f"{RUNS} evenings of up to {STEPS} steps"


class KilledError(BaseException):
    """The PC's process ends here."""


class Evenings(RuleBasedStateMachine):
    """A board, a PC, and what both have acknowledged."""

    def __init__(self) -> None:
        super().__init__()
        self._stack = contextlib.ExitStack()
        self.here = Path(self._stack.enter_context(tempfile.TemporaryDirectory(prefix="orders-")))
        self.home = self.here / "home"
        self._stack.enter_context(mock.patch.dict(os.environ, {"BAIN_HOME": str(self.home)}))
        self._stack.enter_context(mock.patch.object(runner, "looks_for_s", return_value=0.0))
        self._stack.enter_context(mock.patch.object(flashlog, "SEGMENT_BYTES", SEGMENT_BYTES))
        # Parquet and picture take a second each, and no row depends on them.
        self._stack.enter_context(mock.patch.object(report, "_seal_and_draw", return_value=True))
        self.board = LoggingBoard(self.here / "flash")
        self.written: dict[int, set[int]] = defaultdict(set)  # by the PC: hold -> times, ms
        self.synced: dict[int, set[int]] = defaultdict(set)  # by the board
        self._pending: list[tuple[int, int]] = []  # logged by the board, in its memory
        self._synced_to = self.board.log.synced

    def teardown(self) -> None:
        """The next run has a folder of its own."""
        self._stack.close()

    @property
    def holds(self) -> bool:
        """Does a hold run?"""
        return bool(self.board.hello["state"] == "hold")

    # -- the board ----------------------------------------------------------------------------------------------------

    @precondition(lambda self: not self.holds)
    @rule(seconds=SECONDS)
    def start(self, seconds: int) -> None:
        """A hold begins and runs for a while with nobody watching."""
        self.board.start()
        self._pass(seconds)

    @precondition(lambda self: self.holds)
    @rule(seconds=SECONDS)
    def hold_alone(self, seconds: int) -> None:
        """It runs on with nobody watching."""
        self._pass(seconds)

    @precondition(lambda self: self.holds)
    @rule()
    def end(self) -> None:
        """It ends."""
        self.board.end()
        self._note_synced()

    @rule()
    def cut_power(self) -> None:
        """What the board had only in its memory was never acknowledged."""
        self.board = LoggingBoard(self.here / "flash")
        self._pending.clear()
        self._synced_to = self.board.log.synced

    def _pass(self, seconds: int) -> list[bytes]:
        """Seconds of the hold, one by one as the board logs them; the lines that a PC would hear."""
        said = []
        for _ in range(seconds):
            if self.board.t_ms % EVERY_MS == 0:  # its next second is one that it logs
                self._pending.append((self.board.log.hold, self.board.t_ms + FIRST_MS))
            said += self.board.hold(1, water=33000 + 100 * self.board.log.hold)
            self._note_synced()
        return said

    def _note_synced(self) -> None:
        if self.board.log.synced > self._synced_to:
            self._synced_to = self.board.log.synced
            for hold, t_ms in self._pending:
                self.synced[hold].add(t_ms)
            self._pending.clear()

    # -- a PC that watches --------------------------------------------------------------------------------------------

    @precondition(lambda self: self.holds)
    @rule(seconds=SECONDS, end=st.sampled_from(("cable", "killed", "torn")))
    def join(self, seconds: int, end: str) -> None:
        """A PC joins the hold; then the cable goes, or the PC ends between two rows or inside one."""
        said, hold = self._pass(seconds), self.board.log.hold
        setup = resolve(HoldRequest("dark", join=True))
        profile = short_hash(document("profile", setup.profile.document()))
        heard = _Listener(board=BOARD, state="hold", hold=hold, profile=profile)
        watching = runner.Runner(setup, FakeSession(heard), NoView())
        watching.prepare()
        heard.say(*said, *([gone()] if end == "cable" else []))
        with contextlib.suppress(KilledError):
            report.report(watching, watching.run(), None)
        if end == "torn":
            with watching._log.path.open("ab") as file:
                file.write(b"99999.000,hold,wo")
        first_ms = self.board.t_ms - 1000 * seconds
        self.written[hold] |= {first_ms + 1000 * second for second in range(1, seconds + 1)}

    # -- collecting ---------------------------------------------------------------------------------------------------

    @rule(keep=st.booleans())
    def collect(self, keep: bool) -> None:
        """Afterwards the PC has a row of its own for each that the board had on its flash, or the board's."""
        before = {hold: set(times) for hold, times in self.synced.items()}  # forgetting may sync more
        self._collect(keep)
        found = self._on_pc()
        for hold, times in before.items():
            lacks = [t_ms for t_ms in times if all(abs(t_ms - near_ms) > EVERY_MS / 2 for near_ms in found[hold])]
            assert not lacks, f"hold {hold} lacks {sorted(lacks)[:5]} ms after collecting"

    @rule(reads=st.integers(0, 12))
    def collect_by_a_loose_cable(self, reads: int) -> None:
        """The cable goes after some pieces."""
        self.board.breaks_after = self.board.reads + reads
        with contextlib.suppress(BainError):
            self._collect(keep=False)
        self.board.breaks_after = None
        self.board._said.clear()

    @rule(place=st.sampled_from(PLACES), at=st.integers(0, 12), full=st.booleans())
    def collect_in_trouble(self, place: tuple[Any, str], at: int, full: bool) -> None:
        """The disk is full, or the PC's process ends, at one of its writes."""
        failure = OSError(errno.ENOSPC, "No space left on device") if full else KilledError()
        with contextlib.suppress(BainError, KilledError, OSError), _failing(place, at, failure):
            self._collect(keep=False)
        self.board._said.clear()

    def _collect(self, keep: bool) -> None:
        session = contextlib.closing(FakeSession(self.board))
        with mock.patch.object(collect, "open_stored", return_value=session):
            collect.collect(collect.CollectAsked(keep=keep))
        self._note_synced()

    # -- what must hold at every moment -------------------------------------------------------------------------------

    @invariant()
    def every_row_is_somewhere(self) -> None:
        """What the PC wrote is in its holds; what the board had is there, in the PC's copy, or still on the board."""
        found = self._on_pc()
        for hold, times in self.written.items():
            assert times <= found[hold], f"hold {hold}: the PC lost {sorted(times - found[hold])[:5]} ms"
        copies = [path.read_bytes() for path in (self.home / "holds" / "boards").glob("*/*.seg")]
        stored = _rows_of([*copies, *self.board.files().values()])
        for hold, times in self.synced.items():
            there = found[hold] | stored[hold]
            assert times <= there, f"hold {hold}: {sorted(times - there)[:5]} ms are nowhere"

    def _on_pc(self) -> dict[int, set[int]]:
        """The times of each hold's whole rows in the PC's folders, which are in order and there once."""
        found: dict[int, set[int]] = defaultdict(set)
        for facts in (self.home / "holds").glob("*/hold.json"):
            hold = json.loads(facts.read_bytes())["hold"]
            _, *lines, _ = facts.with_name("hold.csv").read_text().split("\n")
            whole = [line for line in lines if line.count(",") == len(NAMES) - 1]
            times = [round(1000 * float(line.partition(",")[0])) for line in whole]
            assert times == sorted(set(times)), f"{facts.parent.name} is out of order or has a row twice"
            found[hold] |= set(times)
        return found


class _Listener(FakeBoard):
    """A board that a PC listens to until it is killed."""

    def read(self) -> bytes:
        """The next line; after the last one the PC's process ends."""
        if not self._said:
            raise KilledError
        return super().read()


def _rows_of(segments: list[bytes]) -> dict[int, set[int]]:
    """The rows in pieces of a board's log, whole frames alone: hold -> times, ms."""
    found: dict[int, set[int]] = defaultdict(set)
    for data in segments:
        at, hold = 0, 0
        while (frame := framing.read(data[at:])) is not None:
            at += frame[3]
            for kind, body in flashlog.entries(frame[2]):
                if kind == flashlog.ORIGIN:
                    hold = int.from_bytes(body[2:6], "little")
                elif kind == flashlog.STATUS:
                    found[hold].add(int.from_bytes(body[4:8], "little"))
    return found


@contextmanager
def _failing(place: tuple[Any, str], at: int, failure: BaseException) -> Iterator[None]:
    """Fail a call of this function, and every later one, from that many on."""
    owner, name = place
    really: Callable[..., Any] = getattr(owner, name)
    calls = 0

    def call(*args: Any, **kwargs: Any) -> Any:
        nonlocal calls
        calls += 1
        if calls > at:
            raise failure
        return really(*args, **kwargs)

    with mock.patch.object(owner, name, call):
        yield
