"""The baths that the probes are put into: by a person at a live board, or one after another on a virtual board."""

from __future__ import annotations

import tempfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any, Protocol

from bainwright.calibration.fit import FEVER, Known
from bainwright.calibration.reading import LOCK_S, lock
from bainwright.files.documents import flash_of
from bainwright.files.rig import Rig
from bainwright.link.protocol import Link
from bainwright.link.session import LiveSession, linked
from bainwright.virtual.board import VirtualBoard
from bainwright.virtual.probes import mix, normal
from bainwright.virtual.world import World

AIR_C = 21.0  # a virtual kitchen's
MOST_OFF = 1.5  # by how many standard uncertainties a virtual bath is off its stated temperature, at most; chosen
LIFTED_AFTER_S = 5.0  # when the virtual person lifts the chocolate probe
LIFTED = "lifted"


class Bench(Protocol):
    """Boards with their probes somewhere."""

    @contextmanager
    def bath(self, name: str) -> Iterator[Link]:
        """The board, its probes in this bath (one of those in `fit`, or `LIFTED`)."""

    def close(self) -> None:
        """Let go of the board."""


class LiveBench:
    """A board on a port; the person moves the probes."""

    def __init__(self, port: str | None) -> None:
        self._session = LiveSession(port)
        self.simulated, self.link = self._session.simulated, self._session.link

    @contextmanager
    def bath(self, name: str) -> Iterator[Link]:
        """The same board whatever it is put into."""
        yield self.link

    def close(self) -> None:
        """Close the port."""
        self._session.close()


class StirredBath:
    """A plant: one stirred bath for both probes, and one of them may be lifted into the air."""

    def __init__(self, temp_c: float, lifted: bool) -> None:
        self.temp_c, self._lifted, self._s = temp_c, lifted, 0.0

    @property
    def temps_c(self) -> dict[str, float]:
        """True temperatures at the probes."""
        out = self._lifted and self._s >= LIFTED_AFTER_S
        return {"water": self.temp_c, "bowl": AIR_C if out else self.temp_c}

    def step(self, power_w: float, dt_s: float) -> None:
        """Time passes; a bath that is stirred and small changes would only make the reading wait."""
        self._s += dt_s


def _world(temp_c: float, lifted: bool, rig: Rig, plant: Any, scenario: Any, seed: int) -> World:
    return World(StirredBath(temp_c, lifted), rig, None, seed)


def _off(seed: int, name: str) -> float:
    return max(-MOST_OFF, min(MOST_OFF, normal(mix(seed) ^ zlib.crc32(name.encode()))))


class VirtualBench:
    """A virtual board for each bath: the firmware on real MicroPython, its probes with the rig's lag, noise and error.

    Parameters
    ----------
    rig : Rig
        The warmer, its probes named.
    seed : int
        Settles the probes' errors, which are the same in every bath.
    known : sequence of Known
        What the virtual person takes the baths for; what they truly are differs by what such a bath may be off.
    """

    simulated = True

    def __init__(self, rig: Rig, seed: int, known: Sequence[Known]) -> None:
        self._rig, self._seed, self.known = rig, seed, known
        self.baths_c = {each.bath: each.temp_c + each.u_k * _off(seed, each.bath) for each in known}
        self.baths_c[LIFTED] = self.baths_c[FEVER]

    @contextmanager
    def bath(self, name: str) -> Iterator[Link]:
        """A fresh board in this bath, its heat locked out, its clock running."""
        with tempfile.TemporaryDirectory(prefix="bain-") as folder, VirtualBoard(
            self._rig, seed=self._seed, flash_files=flash_of(self._rig), truth=Path(folder) / "truth",
            make_world=partial(_world, self.baths_c[name], name == LIFTED),
        ) as board, linked(board.path) as link:
            board.arm()
            link.hello()
            lock(link, LOCK_S)  # before its first reading: in boiling water that would latch
            board.set_speed(200)  # so that a request's answer comes before a lock of virtual minutes is over
            board.run_clock()
            yield link

    def close(self) -> None:
        """Each board ended with its bath."""
