"""Plays a case: the firmware's core on a rig, a second a pass, and what the water truly did."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from . import core, rig
from .acts import Hands
from .genes import Genes, Line, genes_of
from .wrongs import WRONGS

# Figures of the chocolates' windows: the shipped profiles' (facts of the trade; see host/bainwright/chocolates)
KINDS: tuple[dict[str, Any], ...] = (
    {"name": "dark", "kind": "dark"},
    {"name": "milk", "kind": "milk", "low_c": 29.5, "target_c": 30.0, "high_c": 30.5, "ceiling_c": 33.5,
     "never_above_c": 50.0, "melt_c": 43.0},
    {"name": "white", "kind": "white", "low_c": 28.0, "target_c": 28.5, "high_c": 29.0, "ceiling_c": 32.5,
     "never_above_c": 50.0, "melt_c": 42.0},
)
OVER_K, LEAVING_K = 10.0, 13.0  # promised: no fault lifts the water further over its stage's limit
OVER_HARD_K = 3.0  # nor this far over the hard limit
WATCHED_S = 900  # after a latch: the metal still gives heat
BOILING_C = 97.0  # the case is lost
RETRY_S = 120.0  # a start that failed is tried again, as people do
RETRIES = 2
TOO_WARM = ("over_stage", "hot_before_start")
PROBE_K = 0.7  # a sound probe's error here: offset and a quantum


class NotPlayedError(Exception):
    """This firmware refuses the rig, or lacks a part that the case needs."""


@dataclass
class Result:
    """What came of a case.

    Attributes
    ----------
    worst_c, over_k : float
        Warmest true water; the most that it was over its stage's limit, once it had been under it.
    chocolate_c, spare_k : float
        Warmest chocolate; the least room left under what this kind must never meet.
    score_k : float
        How far over what is promised (negative: inside).
    reported_s, latched_s : float or None
        From the fault to the first word, and to a latch.
    trips, warns : list of str
        Faults that came into force; warnings, each time they appear.
    rightly : list of str
        Those that only said that the water, as a person poured it, is too warm for the stage.
    """

    line: str
    worst_c: float = -99.0
    over_k: float = -99.0
    chocolate_c: float = -99.0
    spare_k: float = 99.0
    score_k: float = -99.0
    reported_s: float | None = None
    latched_s: float | None = None
    fault: str = "none"
    trips: list[str] = field(default_factory=list)
    warns: list[str] = field(default_factory=list)
    rightly: list[str] = field(default_factory=list)
    heat_wh: float = 0.0
    seconds: int = 0
    inside_s: int = 0
    square_k2s: float = 0.0  # of the bowl's distance from its target, once it was there
    judged_s: int = 0


class Play:
    """One case."""

    def __init__(self, line: Line, genes: Genes | None = None) -> None:
        self.line = line
        genes = self.genes = genes_of(line) if genes is None else genes
        self.rig, settings = self.build()
        self.full_l = self.rig.plant.water_l
        self.full_kg = 1.3 * self.rig.plant.bowl.chocolate_kg
        self.learnt_loss_w_per_k = rig.losses_w_per_k(self.rig.plant)
        settings = core.with_second_probe(settings, line.witness)
        values, why = core.rig_values(settings)
        if values is None:
            raise NotPlayedError(f"settings refused: {why}")
        self.values = values
        profile, why = core.profile(self.chocolate())
        if profile is None:
            raise NotPlayedError(f"profile refused: {why}")
        self.profile = profile
        self.board = core.Board(values, self.rig.probes, 0)
        self.hands = Hands(self, genes, gentle=line.fault == "none")
        self.t_s = 0.0
        self.watch: Callable[[Play], None] | None = None
        self._retries = 0
        self._floor_c = self.rig.plant.warmest_c
        self._limit_c = 1e9

    def build(self) -> tuple[rig.Rig, dict[str, Any]]:
        """The rig, and the settings that its builder sends."""
        line, genes = self.line, self.genes
        return rig.build(line.plant, line.seed, genes.start_c, genes.bowl_c, genes.room_c, line.witness, line.gains)

    def chocolate(self) -> dict[str, Any]:
        """The profile's figures."""
        return KINDS[self.line.seed % len(KINDS)]

    @property
    def stated_room_c(self) -> float:
        """What a person says of the room."""
        return max(5.0, min(40.0, self.genes.room_c + self.genes.room_error_k))

    @property
    def warmer(self) -> Any:
        """The firmware's."""
        return self.board.warmer

    @property
    def now_ms(self) -> int:
        """The board's clock."""
        return self.board.now_ms

    # -- what acts need ----------------------------------------------------------------------------------------------

    def start(self) -> None:
        """A person asks for a hold."""
        self.warmer.start(self.profile, self.genes.stage, 0, self.stated_room_c, self.now_ms)

    def reboot(self) -> None:
        """Power off and on; a latch is stored, and what the warmer had seen. Nobody knows for how long."""
        w = self.warmer
        latch = w.latch
        self.board = core.Board(self.values, self.rig.probes, self.board.now_ms, latch, w.evidence)

    def send_gains(self, changes: dict[str, Any]) -> None:
        """New gains, if the board takes them."""
        values, _ = core.rig_values({**{name: self.values[name] for name in self.values}, **changes})
        if values is not None:
            self.values = values
            self.warmer.set_gains(values)

    def poured(self) -> None:
        """The warmth of what was just poured in is not the heater's doing."""
        self._floor_c = self.rig.plant.warmest_c

    # -- playing -----------------------------------------------------------------------------------------------------

    def run(self) -> Result:
        """To its end."""
        genes, the_rig, plant, hands = self.genes, self.rig, self.rig.plant, self.hands
        result = Result(str(self.line))
        wrong = WRONGS[self.line.fault]
        never_c, hard_c = self.profile["never_above_c"], self.values["hard_limit_c"]
        strike_s = genes.strike_s if wrong.name != "none" else 1e12
        before, known = 0, 0
        fault, latched_at = 0, -1
        worst_c = over_k = chocolate_c = -99.0
        heat_ws = 0.0
        board = self.board
        self.hands.later(3.0, self.start)
        for second in range(int(genes.end_s)):
            self.t_s = t_s = float(second)
            if t_s >= strike_s:
                strike_s = 1e13
                the_rig.fail(wrong.name, genes.dose, random.Random(f"fault {self.line.seed}"))
                result.reported_s = None
                before, struck_s = known, t_s
            if hands.next_s <= t_s:
                hands.run(t_s)
                board = self.board
            w = board.warmer
            the_rig.step(1.0, board.level, w.guard)
            board.tick()
            # -- the truth
            water_c = plant.warmest_c
            limit_c = self._stage_limit_c(w)
            if limit_c != self._limit_c:
                self._limit_c, self._floor_c = limit_c, water_c
            elif water_c < self._floor_c:
                self._floor_c = water_c
            top_c = limit_c if limit_c > self._floor_c else self._floor_c
            if water_c > worst_c:
                worst_c = water_c
            if water_c - top_c > over_k:
                over_k = water_c - top_c
            metal_c = plant.bowl.shells_c[0]
            if metal_c > chocolate_c:
                chocolate_c = metal_c
            if board.level > 0.0 and w.guard:
                heat_ws += board.level * the_rig.watts
            # -- what the firmware says
            s = w.supervisor
            fresh = s.fresh
            if fresh:
                self._note(result, fresh)
            if w.fault != fault:
                fault = w.fault
                if fault:
                    self._say(result, result.trips, fault)
                    if w.state == "idle" and self._retries < RETRIES:
                        self._retries += 1
                        hands.later(t_s + RETRY_S, self.start)
            bits = w.warn | 1 << fault if fault else w.warn
            if strike_s > 1e12 and wrong.name != "none" and result.reported_s is None and bits & ~before:
                result.reported_s = t_s - struck_s
            known = bits
            if s.latched:
                if latched_at < 0:
                    latched_at = second
                    result.fault = core.name_of(fault)
                    if wrong.name != "none" and strike_s > 1e12:
                        result.latched_s = t_s - struck_s
                if second - latched_at > WATCHED_S:
                    break
            if w.events:
                w.events = []
            if self.watch is not None:
                self.watch(self)
            if water_c > BOILING_C:
                break
            p = w.programme
            if p is not None and w.state == "hold" and p.warm_ms is not None and not plant.bowl.away:
                away_k = plant.bowl.mean_c - p.target_c
                result.square_k2s += away_k * away_k
                result.judged_s += 1
        result.worst_c, result.over_k, result.chocolate_c = worst_c, over_k, chocolate_c
        result.spare_k = never_c - chocolate_c
        result.heat_wh, result.seconds = heat_ws / 3600.0, second + 1
        promised_k = LEAVING_K if wrong.leaves else OVER_K
        result.score_k = max(over_k - promised_k, min(worst_c, worst_c if over_k > 0.0 else -99.0)
                             - hard_c - OVER_HARD_K, chocolate_c - never_c if over_k > 0.0 else -99.0)
        return result

    def _stage_limit_c(self, w: Any) -> float:
        """Of the stage under way; after a trip of the stage that it ended; at rest only the hard limit counts."""
        if w.programme is not None:
            return float(w.inputs.stage_limit_c)
        if w.state == "trip" and self._limit_c < 1e8:
            return self._limit_c
        return float(self.values["hard_limit_c"]) + OVER_HARD_K - OVER_K

    def _note(self, result: Result, fresh: int) -> None:
        for number in range(1, 60):
            if fresh >> number & 1:
                self._say(result, result.warns, number)

    def _say(self, result: Result, said: list[str], number: int) -> None:
        name = core.name_of(number)
        warm = self.rig.plant.warmest_c > self._limit_c - PROBE_K
        (result.rightly if name in TOO_WARM and warm else said).append(name)


def play(line: Line) -> Result:
    """Play a line.

    Raises
    ------
    NotPlayedError
        When this firmware does not take its rig.
    """
    return Play(line).run()
