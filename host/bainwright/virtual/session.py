"""A virtual board for a hold. Its clock is stopped from boot to the start, and during each request."""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bainwright.files.documents import flash_of
from bainwright.files.rig import Rig
from bainwright.link.protocol import Link
from bainwright.virtual.board_models import model_of
from bainwright.virtual.interpreter import find, require_micropython
from bainwright.virtual.scenario import Event, Scenario
from bainwright.virtual.truth import read_truth

FACTS = ("dead", "raw_probes", "resets", "power_cuts", "stalled", "simulated_s", "wall_s")


@dataclass(frozen=True)
class Simulated:
    """What a virtual board is to simulate."""

    rig: Rig
    plant: str | None
    scenario: Scenario | None
    seed: int
    speed: float | None
    image: Path | None
    board: str | None = None  # which of `board_models.MODELS` it plays


class VirtualSession:
    """A virtual board; its clock is stopped from boot until `run`.

    The firmware runs in MicroPython where this PC has it, and in CPython where not: `interpreter` says which.
    """

    virtual = simulated = True

    def __init__(self, simulated: Simulated) -> None:
        self._plays = {"plays": model_of(simulated.board).title} if simulated.board else {}
        self._folder = tempfile.TemporaryDirectory(prefix="bain-")
        self.truth_path = Path(self._folder.name) / "truth"
        try:
            self.board, self.interpreter, transport = _board(simulated, self.truth_path)
        except BaseException:
            self._folder.cleanup()
            raise
        self.link = Link(transport)

    @contextmanager
    def held(self) -> Iterator[None]:
        """Stop virtual time inside."""
        self.board.hold_clock()
        try:
            yield
        finally:
            self.board.run_clock()

    def arm(self) -> None:
        """Start scenario and plant with the hold."""
        self.board.arm()

    def run(self) -> None:
        """Start virtual time."""
        self.board.run_clock()

    def act(self, event: Event) -> None:
        """Do to the warmer what a scenario's event does, now."""
        self.board.apply_event(event)

    def reopen(self) -> bool:
        """A virtual board that has ended cannot be reopened."""
        return False

    def truth(self) -> Any:
        """The true temperatures of the simulated warmer."""
        self.board.report()  # completes the file
        return read_truth(self.truth_path)

    def facts(self) -> dict[str, Any]:
        """What the virtual board reports of its run."""
        report = self.board.report()
        return {"interpreter": self.interpreter, **self._plays, **{name: report[name] for name in FACTS}}

    def close(self) -> None:
        """End the virtual board and delete its temporary files.

        Raises
        ------
        UnsavedError
            If its flash could not be saved to its image.
        """
        self.link.transport.close()
        try:
            self.board.close()
        finally:
            self._folder.cleanup()


def _board(simulated: Simulated, truth: Path) -> tuple[Any, str, Any]:
    """The board, its interpreter's name, and the transport to it."""
    files = flash_of(simulated.rig)
    interpreter = find()
    if interpreter is None:
        return _in_python(simulated, files, truth)
    if interpreter.path:
        print(f"bain: the board's firmware runs in {interpreter.name}", file=sys.stderr, flush=True)
    from bainwright.link import ports
    from bainwright.virtual.board import VirtualBoard

    board = VirtualBoard(simulated.rig, simulated.plant, simulated.scenario, simulated.seed, simulated.speed, files,
                         simulated.image, truth, board=simulated.board)  # fmt: skip
    try:
        return board, interpreter.name, ports.open_port(board.path)
    except BaseException:
        board.close()
        raise


def _in_python(simulated: Simulated, files: dict[str, bytes], truth: Path) -> tuple[Any, str, Any]:
    """The board in this process, with a line that says so."""
    from bainwright.virtual.python_board import PythonBoard, version

    if simulated.board is not None:
        require_micropython("--board")
    if simulated.image is not None:
        require_micropython("a flash image")
    print(f"bain: this PC has no MicroPython that fits, so the board's firmware runs in {version()}",
          file=sys.stderr, flush=True)
    board = PythonBoard(simulated.rig, simulated.plant, simulated.scenario, simulated.seed, simulated.speed, files,
                        truth)  # fmt: skip
    return board, version(), board.transport
