"""A case's genes: temperatures, the fault's moment and dose, and rhythms of acts; drawn from a seed, then varied.

A line ``SEED:PLANT/FAULT/WITNESS/GAINS`` is a whole case. SEED is a number, then the numbers of the variations that a
climb took, with dots between: ``17.4.9``. It gives the same genes on every interpreter.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field, replace

from .catalogue import PLANTS
from .wrongs import WRONGS

WITNESSES = ("bowl", "second", "neither")
GAINS = ("safe", "learnt")
STAGES = ("work", "work", "work", "work", "melted", "melt")
HOUR = 3600.0

# What people do; each takes two figures from 0 to 1 (`acts`).
ACTS = ("pause", "bowl_off", "bowl_lift", "announce", "refill", "dip", "top_up", "lid", "draught", "stage",
        "stop_start", "reboot", "gains", "stir", "confirm")


@dataclass(frozen=True)
class Rhythm:
    """An act, done `count` times."""

    act: str
    first_s: float
    every_s: float
    count: int
    a: float
    b: float


@dataclass(frozen=True)
class Genes:
    """Everything that is not the name."""

    start_c: float
    bowl_c: float
    room_c: float
    room_error_k: float  # what a person is wrong by about the room
    stage: str
    strike_s: float
    dose: float
    end_s: float
    rhythms: tuple[Rhythm, ...] = field(default=())


@dataclass(frozen=True)
class Line:
    """A case's line in its parts."""

    seed: int
    varied: tuple[int, ...]
    plant: str
    fault: str
    witness: str
    gains: str

    def __str__(self) -> str:
        number = ".".join(map(str, (self.seed, *self.varied)))
        return f"{number}:{self.plant}/{self.fault}/{self.witness}/{self.gains}"

    @property
    def name(self) -> str:
        """Without the seed."""
        return f"{self.plant}/{self.fault}/{self.witness}/{self.gains}"


def parse(text: str) -> Line:
    """A line.

    Raises
    ------
    ValueError
        In words, when it is none.
    """
    number, colon, name = text.strip().partition(":")
    parts = name.split("/")
    numbers = number.split(".")
    if not colon or len(parts) != 4 or not all(n.isdecimal() and len(n) < 10 for n in numbers):
        raise ValueError(f"not a case: got {text.strip()[:80]!r}, wanted SEED:PLANT/FAULT/WITNESS/GAINS, as in "
                         "17.4:pan/water_stuck/bowl/learnt")
    for part, known in zip(parts, (PLANTS, WRONGS, WITNESSES, GAINS)):  # noqa: B905 - PyPy's 3.9 has no strict
        if part not in known:
            raise ValueError(f"not a case: got {part[:40]!r}, wanted one of {', '.join(known)}")
    return Line(int(numbers[0]), tuple(map(int, numbers[1:])), *parts)


def genes_of(line: Line) -> Genes:
    """Draw the genes, then vary them."""
    genes = _drawn(random.Random(f"{line.seed} {line.name}"), line)
    for number in line.varied:
        genes = _varied(random.Random(f"{number} {line.seed} {line.name}"), genes)
    return genes


def _drawn(rng: random.Random, line: Line) -> Genes:
    if line.fault == "none":
        return _evening(rng)
    if rng.random() < 0.4:
        return _quiet_hold(rng)
    room_c = rng.uniform(14.0, 28.0)
    end_s = rng.choice((1.0, 1.5, 2.5)) * HOUR
    if rng.random() < 0.6:
        rhythms = tuple(_rhythm(rng, end_s) for _ in range(rng.choice((0, 1, 2, 3, 4))))
    else:  # one thing, again and again
        rhythms = (Rhythm(rng.choice(ACTS), 60.0, rng.uniform(120.0, 1200.0), 60, rng.random(), rng.random()),)
    return Genes(
        start_c=rng.uniform(max(12.0, room_c - 4.0), 38.0), bowl_c=rng.uniform(22.0, 34.0), room_c=room_c,
        room_error_k=rng.uniform(-3.0, 3.0), stage=rng.choice(STAGES),
        strike_s=rng.choice((0.0, 1.0, 1.0)) * rng.uniform(0.0, 1.0) * 0.6 * end_s, dose=rng.random(), end_s=end_s,
        rhythms=rhythms)


STEADY = ("pause", "pause", "pause", "stop_start", "reboot", "bowl_off", "bowl_lift", "top_up", "refill", "gains")


def _quiet_hold(rng: random.Random) -> Genes:
    """Two and a half hours in the window, and at most one thing that is done again and again."""
    rhythms: tuple[Rhythm, ...] = ()
    if rng.random() < 0.6:
        rhythms = (Rhythm(rng.choice(STEADY), 60.0, rng.uniform(150.0, 900.0), 60, 0.4 * rng.random(), rng.random()),)
    return Genes(rng.uniform(29.0, 33.0), rng.uniform(28.0, 32.0), rng.uniform(16.0, 25.0), rng.uniform(-1.0, 1.0),
                 "work", rng.uniform(600.0, 2400.0), rng.uniform(0.2, 0.9), 2.5 * HOUR, rhythms)


def _evening(rng: random.Random) -> Genes:
    """Three to five hours with nothing wrong: each act a few times, switched off and on again now and then."""
    room_c, end_s = rng.uniform(14.0, 28.0), rng.uniform(3.0, 5.0) * HOUR
    acts = [act for act in ACTS if act not in ("stop_start", "reboot")] + ["refill", "dip", "dip", "top_up"]
    chosen = [rng.choice(acts) for _ in range(rng.randrange(3, 10))]
    chosen += [act for act in ("stop_start", "reboot") if rng.random() < 0.15]
    rhythms = tuple(Rhythm(act, rng.uniform(600.0, 0.9 * end_s), rng.uniform(600.0, 3600.0), rng.choice((1, 1, 2, 4)),
                           rng.random(), rng.random()) for act in chosen)
    stage = rng.choice(("work", "work", "work", "melted", "melt"))
    return Genes(rng.uniform(max(12.0, room_c - 4.0), 36.0), rng.uniform(24.0, 32.0), room_c, rng.uniform(-2.0, 2.0),
                 stage, 0.0, 0.0, end_s, rhythms)


def _rhythm(rng: random.Random, end_s: float) -> Rhythm:
    often = rng.random() < 0.4
    every_s = rng.uniform(120.0, 1200.0)
    return Rhythm(rng.choice(ACTS), rng.uniform(60.0, 0.9 * end_s), every_s, rng.randrange(3, 40) if often else 1,
                  rng.random(), rng.random())


def _nudged(rng: random.Random, value: float, by: float, low: float, high: float) -> float:
    return max(low, min(high, value + rng.gauss(0.0, by)))


def _varied(rng: random.Random, genes: Genes) -> Genes:
    """One to three changes."""
    for _ in range(rng.choice((1, 1, 2, 3))):
        genes = _one_change(rng, genes)
    return genes


def _one_change(rng: random.Random, genes: Genes) -> Genes:
    pick = rng.randrange(9)
    rhythms = list(genes.rhythms)
    if pick == 0:
        return replace(genes, strike_s=_nudged(rng, genes.strike_s, 600.0, 0.0, 0.8 * genes.end_s))
    if pick == 1:
        return replace(genes, dose=_nudged(rng, genes.dose, 0.15, 0.0, 1.0))
    if pick == 2:
        return replace(genes, start_c=_nudged(rng, genes.start_c, 4.0, 10.0, 42.0),
                       bowl_c=_nudged(rng, genes.bowl_c, 3.0, 15.0, 42.0))
    if pick == 3:
        return replace(genes, room_c=_nudged(rng, genes.room_c, 3.0, 12.0, 30.0),
                       room_error_k=_nudged(rng, genes.room_error_k, 1.5, -5.0, 5.0))
    if pick == 4 or not rhythms:
        return replace(genes, rhythms=(*rhythms, _rhythm(rng, genes.end_s))[-8:])
    at = rng.randrange(len(rhythms))
    one = rhythms[at]
    if pick == 5:
        del rhythms[at]
    elif pick == 6:
        rhythms[at] = replace(one, first_s=_nudged(rng, one.first_s, 300.0, 30.0, genes.end_s),
                              every_s=_nudged(rng, one.every_s, 120.0, 30.0, 2400.0))
    elif pick == 7:
        rhythms[at] = replace(one, a=_nudged(rng, one.a, 0.2, 0.0, 1.0), b=_nudged(rng, one.b, 0.2, 0.0, 1.0))
    else:
        rhythms[at] = replace(one, count=max(1, min(60, int(one.count * rng.choice((0.5, 2.0, 4.0))))))
    return replace(genes, rhythms=tuple(rhythms))
