"""The 1-wire bus of an idle board: which probes are on it, what they read, and which of them is being warmed."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

from bainwright.link.protocol import Link

CONVERSION_S = 0.8  # 750 ms at 12 bits (the probe's data sheet, from memory), and the way there
RISE_K = 1.5  # chosen: a hand brings a probe from a kitchen's 20 °C to 30 °C within a minute; draughts do a tenth of it
AHEAD = 3.0  # chosen: and that it must be three times as much as any other's
PATIENCE_S = 90.0  # chosen: steel tubes are slow


@dataclass(frozen=True)
class OnBus:
    """A digital probe on the bus: its id, and its reading or why there is none (a code of `bainboard.sensing`)."""

    rom: str
    temp_c: float | None
    code: int


@dataclass(frozen=True)
class Bus:
    """A board's kind, and the probes on its bus."""

    kind: str
    probes: list[OnBus]


def look(link: Link, sleep: Callable[[float], None] = time.sleep) -> Bus:
    """Look along the bus once, and read every probe there.

    Raises
    ------
    RefusedError
        When the board is not idle.
    """
    there = link.request("bus")
    if there["count"]:
        sleep(CONVERSION_S)
    probes = []
    for number in range(1, there["count"] + 1):
        said = link.request("bus", at=number)
        probes.append(OnBus(said["rom"], None if said["temp"] is None else said["temp"] / 1000, said["code"]))
    return Bus(there["kind"], probes)


class Warming:
    """Finds which probe is being warmed, from readings over time. Pure.

    Attributes
    ----------
    rises_k : dict of str to float
        How far each has risen over the coldest it has been.
    """

    def __init__(self) -> None:
        self._least_c: dict[str, float] = {}
        self.rises_k: dict[str, float] = {}

    def feed(self, probes: list[OnBus]) -> str | None:
        """The readings now; the id of the warmed probe once it is clear."""
        for probe in probes:
            if probe.temp_c is not None:
                least_c = min(probe.temp_c, self._least_c.get(probe.rom, probe.temp_c))
                self._least_c[probe.rom], self.rises_k[probe.rom] = least_c, probe.temp_c - least_c
        if not self.rises_k:
            return None
        warmed = max(self.rises_k, key=lambda rom: self.rises_k[rom])
        rise_k = self.rises_k[warmed]
        others_k = max((k for rom, k in self.rises_k.items() if rom != warmed), default=0.0)
        return warmed if rise_k >= RISE_K and rise_k >= AHEAD * others_k else None


def warmed(
    link: Link,
    show: Callable[[list[OnBus]], None],
    sleep: Callable[[float], None] = time.sleep,
    clock: Callable[[], float] = time.monotonic,
) -> str | None:
    """Watch the bus until one probe is clearly being warmed; its id, or None when patience ends.

    Parameters
    ----------
    link : Link
        The board.
    show : callable
        Gets the readings of each round.
    sleep, clock : callable
        How time passes.
    """
    warming, give_up_s = Warming(), clock() + PATIENCE_S
    while clock() < give_up_s:
        probes = look(link, sleep).probes
        show(probes)
        found = warming.feed(probes)
        if found:
            return found
        if not probes:
            sleep(CONVERSION_S)
    return None
