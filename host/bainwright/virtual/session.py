"""A virtual board for a hold. Its clock is stopped from boot to the start, and during each request."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bainwright.files.documents import flash_of
from bainwright.files.rig import Rig
from bainwright.link import ports
from bainwright.link.protocol import Link
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.scenario import Scenario
from bainwright.virtual.truth import read_truth


@dataclass(frozen=True)
class Simulated:
    """What a virtual board is to simulate."""

    rig: Rig
    plant: str | None
    scenario: Scenario | None
    seed: int
    speed: float | None
    image: Path | None


class VirtualSession:
    """A virtual board; its clock is stopped from boot until `run`."""

    virtual = simulated = True

    def __init__(self, simulated: Simulated) -> None:
        self._folder = tempfile.TemporaryDirectory(prefix="bain-")
        self.truth_path = Path(self._folder.name) / "truth"
        self.board = VirtualBoard(
            simulated.rig, simulated.plant, simulated.scenario, simulated.seed, simulated.speed,
            flash_of(simulated.rig), simulated.image, self.truth_path,
        )  # fmt: skip
        try:
            self.link = Link(ports.open_port(self.board.path))
        except BaseException:
            self.board.close()
            raise

    @contextmanager
    def held(self) -> Iterator[None]:
        """Stop virtual time inside."""
        with self.board.clock_held():
            yield

    def arm(self) -> None:
        """Start scenario and plant with the hold."""
        self.board.arm()

    def run(self) -> None:
        """Start virtual time."""
        self.board.run_clock()

    def reopen(self) -> bool:
        """A virtual board that has ended cannot be reopened."""
        return False

    def truth(self) -> Any:
        """The true temperatures of the simulated warmer."""
        return read_truth(self.truth_path)

    def facts(self) -> dict[str, Any]:
        """What the virtual board reports of its run."""
        report = self.board.report()
        return {name: report[name] for name in ("dead", "resets", "power_cuts", "stalled", "simulated_s", "wall_s")}

    def close(self) -> None:
        """End the virtual board and delete its temporary files."""
        self.link.transport.close()
        self.board.close()
        self._folder.cleanup()
