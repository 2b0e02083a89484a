"""What must hold in every build, as a table of rules: each compares what was computed with what is allowed."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from bainwright.builds import electrical, warmth
from bainwright.builds.parts import Build

SUPPLY_SHARE = 1.5  # of the heater's power, at most: no fault can give more heat than that; the supply rule
FUSE_LOAD = 0.75  # of a fuse's rating, at most, in the long run; data sheets, from memory
WARMEST_BATH_C = 54.0  # the warmest bath of a plan: 48 °C melt and 6 °C over it; as in plan.setup
CLEAR_K = 1.0  # chosen: a cut-out's earliest opening over the warmest it meets in planned use
MAT_FUSE = "fuse of one mat, load"  # the rule that only a build with such fuses has
JUNCTION_MARGIN_K = 50.0  # chosen: under the transistor's limit
DRAIN_SHARE = 1.5  # chosen: drain rating over the worst supply
OVERLOAD = 1.5  # a supply may give so many times its rating before it limits; data sheets, from memory
LOAD_W_PER_CM2 = 0.5  # chosen: above this a dry spot scorches
SHARE_LEFT = 0.85  # chosen: of its power that a heater keeps behind cable and contacts
MOST_W = 240.0  # chosen: the most one 24 V build heats with; above, currents ask for other parts than these


class Rule(NamedTuple):
    """One rule: a name, what was computed, the least and the most allowed, and the unit."""

    name: str
    value: Callable[[Build], float]
    least: Callable[[Build], float]
    most: Callable[[Build], float]
    unit: str


class Finding(NamedTuple):
    """One rule applied to one build."""

    name: str
    value: float
    least: float
    most: float
    unit: str

    @property
    def holds(self) -> bool:
        """Whether it is within its limits; NaN is not."""
        return self.least <= self.value <= self.most

    def words(self) -> str:
        """What is wrong, and what was wanted."""
        low = f"at least {self.least:.3g}" if self.least > 0.0 else ""
        high = f"at most {self.most:.3g}" if self.most < float("inf") else ""
        wanted = " and ".join(part for part in (low, high) if part)
        return f"{self.name}: got {self.value:.3g} {self.unit}, wanted {wanted}".replace(" ,", ",")


def _any(_: Build) -> float:
    return float("inf")


def _none(_: Build) -> float:
    return 0.0


def _supply_fault_a(build: Build) -> float:
    return OVERLOAD * build.supply_a


def _mat_fuse_load(build: Build) -> float:
    return electrical.mat_worst_a(build) / build.mat_fuse_a if build.mat_fuse_a else 0.0


def warmest_mat_c(build: Build) -> float:
    """The mat at full heat under the warmest planned bath, with the worst heater, °C."""
    return WARMEST_BATH_C + warmth.mat_over_k(build, worst=True)


def mat_at_hard_limit_c(build: Build) -> float:
    """The mat at full heat as the firmware trips, with the worst heater, °C."""
    return build.hard_limit_c + warmth.mat_over_k(build, worst=True)


def cut_out_at_hard_limit_c(build: Build) -> float:
    """What the vessel's cut-out feels as the firmware trips, °C."""
    return build.hard_limit_c + warmth.cut_out_over_k(build)


RULES = (
    Rule("heater", lambda b: b.heater_w, _none, lambda b: MOST_W, "W"),
    Rule("supply, over the heater's power", lambda b: b.supply_w / b.heater_w, _none, lambda b: SUPPLY_SHARE, ""),
    Rule("supply, for the worst heater", lambda b: b.supply_a, electrical.worst_a, _any, "A"),
    Rule("main fuse, load", lambda b: electrical.worst_a(b) / b.fuse_a, _none, lambda b: FUSE_LOAD, ""),
    Rule(MAT_FUSE, _mat_fuse_load, _none, lambda b: FUSE_LOAD, ""),
    Rule("cable at the supply's own limit", _supply_fault_a, _none,
         lambda b: electrical.CABLE_A[b.wire_mm2], "A"),
    Rule("main fuse under the cable's rating", lambda b: b.fuse_a, _none,
         lambda b: electrical.CABLE_A[b.wire_mm2], "A"),
    Rule("guard relay's contact", lambda b: b.relay_a, electrical.worst_a, _any, "A"),
    Rule("hand switch", lambda b: b.hand_switch_a, electrical.worst_a, _any, "A"),
    Rule("plug of one mat", lambda b: b.plug_a, electrical.mat_worst_a, _any, "A"),
    Rule("cut-outs and thermal fuse",
         lambda b: min(b.on_mat.rated_a, b.on_vessel.rated_a, b.fuse.rated_a), electrical.mat_worst_a, _any, "A"),
    Rule("Q1, drain", lambda b: b.switch.drain_v, lambda b: DRAIN_SHARE * electrical.worst_v(), _any, "V"),
    Rule("Q1, junction without heat sink", electrical.junction_c, _none,
         lambda b: b.switch.most_c - JUNCTION_MARGIN_K, "°C"),
    Rule("heater behind cable and contacts, share of its power", electrical.power_share, lambda b: SHARE_LEFT,
         _any, ""),
    Rule("surface load", warmth.load_w_per_cm2, _none, lambda b: LOAD_W_PER_CM2, "W/cm²"),
    Rule("mat's cut-out, earliest", lambda b: b.on_mat.earliest_c, lambda b: warmest_mat_c(b) + CLEAR_K, _any, "°C"),
    Rule("mat at the firmware's hard limit, worst heater", mat_at_hard_limit_c, _none,
         lambda b: b.on_mat.earliest_c, "°C"),
    Rule("vessel's cut-out, earliest", lambda b: b.on_vessel.earliest_c, cut_out_at_hard_limit_c, _any, "°C"),
    Rule("hard limit over the warmest planned bath", lambda b: b.hard_limit_c, lambda b: WARMEST_BATH_C + 2.0, _any,
         "°C"),
    Rule("thermal fuse, earliest, over the mat's cut-out", lambda b: b.fuse.earliest_c,
         lambda b: b.on_mat.latest_c, _any, "°C"),
    Rule("thermal fuse, holds for good", lambda b: b.fuse.holds_c, warmest_mat_c, _any, "°C"),
    Rule("heater lag in the rig file, over the computed", lambda b: b.lag_s / warmth.lag_s(b), lambda b: 1.0,
         lambda b: warmth.LAG_ROOM, ""),
)  # fmt: skip


def findings(build: Build) -> list[Finding]:
    """Every rule applied to a build, in the table's order."""
    return [Finding(rule.name, rule.value(build), rule.least(build), rule.most(build), rule.unit) for rule in RULES]


def broken(build: Build) -> list[str]:
    """In words, the rules that a build breaks; none for a sound one."""
    return [finding.words() for finding in findings(build) if not finding.holds]
