"""The parts of an abuse run: each gives the cases that went wrong, named so that one can be run again."""

from __future__ import annotations

import random
import shutil
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from . import damage, lies
from .running import Outcome, run


@dataclass
class Tally:
    """What a part found.

    Attributes
    ----------
    cases : int
        How many were run.
    wrong : list of str
        Those that went wrong, and how.
    slowest_s, memory_mb : float
        The worst of all cases.
    power_cuts : int
        How often the power failed.
    """

    cases: int = 0
    wrong: list[str] = field(default_factory=list)
    slowest_s: float = 0.0
    memory_mb: float = 0.0
    power_cuts: int = 0

    def add(self, name: str, outcome: Outcome) -> None:
        """Count a case."""
        self.cases += 1
        self.slowest_s = max(self.slowest_s, outcome.took_s)
        self.memory_mb = max(self.memory_mb, outcome.memory_mb)
        self.wrong += [f"{name}: {what}" for what in outcome.wrong]

    def words(self) -> str:
        """One line."""
        return (f"{self.cases} cases, {len(self.wrong)} wrong, slowest {self.slowest_s:.1f} s, "
                f"at most {self.memory_mb:.0f} MB")  # fmt: skip


def warm_up() -> None:
    """Import what commands import, so that each case is a fork and not a start."""
    import duckdb  # noqa: F401
    import matplotlib.figure  # noqa: F401

    from bainwright.archive import listing  # noqa: F401
    from bainwright.evening import runner  # noqa: F401
    from bainwright.plan import planner  # noqa: F401
    from bainwright.report import overnight  # noqa: F401


@contextmanager
def sandbox(base: Path, name: str) -> Iterator[Path]:
    """A folder to run in, alone in its parent, so that anything written outside is seen."""
    here = base / name / "here"
    here.mkdir(parents=True)
    try:
        yield here
    finally:
        shutil.rmtree(base / name, ignore_errors=True)


@cache
def _folder() -> tempfile.TemporaryDirectory[str]:
    """A folder that lasts as long as this process."""
    return tempfile.TemporaryDirectory(prefix="abuse-")


@cache
def sound_hold() -> Path:
    """A sound hold of a minute, its temper test and leftovers recorded; made once, and only read."""
    base = Path(_folder().name)
    with sandbox(base, "make") as here:
        for command in (["hold", "dark", "--virtual", "--for", "60s", "--out", "h"],
                        ["temper", "h", "--minutes", "4"], ["stock", "h", "--left", "300g"]):  # fmt: skip
            outcome = run(command, here)
            assert outcome.code in (0, 1), outcome.said.decode()
        shutil.copytree(here / "h", base / "hold")
    return base / "hold"


def damaged_files(numbers: Iterable[int]) -> Tally:
    """Commands over damaged files."""
    tally = Tally()
    with tempfile.TemporaryDirectory(prefix="abuse-") as name:
        base = Path(name)
        hold = sound_hold()
        for number in numbers:
            with sandbox(base, str(number)) as here:
                command, what = damage.case(number, here, hold)
                tally.add(f"file {number} ({what}; bain {' '.join(command)})", run(command, here))
    return tally


def lying_boards(numbers: Iterable[int]) -> Tally:
    """Commands over boards that lie."""
    tally = Tally()
    escape = Path("/tmp/bain-abuse-escape")
    with tempfile.TemporaryDirectory(prefix="abuse-") as name:
        base = Path(name)
        for number in numbers:
            command, interrupt_s = lies.COMMANDS[random.Random(number).randrange(len(lies.COMMANDS))]
            flash = base / f"flash-{number}"
            flash.mkdir()
            with lies.liar(flash, number) as port, sandbox(base, str(number)) as here:
                (here / "r.toml").write_text(lies.rig_file())
                outcome = run([*command, "--port", port], here, interrupt_s=interrupt_s)
            if escape.exists():
                outcome.wrong.append(f"made {escape}")
            tally.add(f"liar {number} (bain {' '.join(command)})", outcome)
            shutil.rmtree(flash, ignore_errors=True)
    return tally
