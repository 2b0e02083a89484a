"""What must hold in every build, as a table of rules: each compares what was computed with what is allowed."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

from bainwright.builds import electrical, overload, switch_heat, vessels, warmth
from bainwright.builds.overload import SUPPLY_SHARE
from bainwright.builds.parts import Build

FUSE_LOAD = 0.75  # of a fuse's rating, at most, in the long run; data sheets, from memory
WARMEST_BATH_C = 54.0  # the warmest bath of a plan: 48 °C melt and 6 °C over it; as in plan.setup
CLEAR_K = 1.0  # chosen: a cut-out's earliest opening over the warmest it meets in planned use
VESSEL_LATEST_C = 65.0  # chosen: water that scalds in seconds; the cut-out at the wall has opened by then
INSULATION_C = 200.0  # silicone foam (data sheets, from memory); melamine foam takes 150 °C
UNDER_RATED_K = 10.0  # chosen: so far under its rating stays what lies round a mat
TAB_C = 150.0  # chosen: glass-fibre board and silicone wire beside Q1 take it for minutes (from memory)
UNFELT_W = 10.0  # chosen: what Q1 may give the closed box for good
CABLE_DROP = 0.02  # chosen: of 24 V that the cable of one mat may take
CONTACTS = 7  # two poles of X0 and X1, F1, S1, K1; and TCO2, TCO1, TF1, or K2; and F2
CONTACT_V = 0.15  # chosen: so much each
GOOD_SHARE = 1.0 / 3.0  # of that drops at a good one: 0.05 V, from memory
DIRECT_A = 5.0  # chosen: cut-outs and thermal fuses that switch more at 24 V DC are hard to find (from memory)
BOWL_MM = 0.4, 1.2  # steel of mixing bowls as sold (common practice, no source)
LOW_WATER_CM = 0.1  # chosen: so far a bath that lost half still covers the middle of the vessel's cut-out
RIM_CM, WALL_CM = 0.5, 1.4  # chosen: a clip still pulls down; water does not slop over
BUTTON_CM = 1.0  # chosen: a button that the table holds in makes its cut-out reset itself
STRIP_CM = 2.5  # chosen: a cut-out's body is 16 mm wide (data sheets, from memory), and no mat may touch it
ON_BASE = 0.95  # chosen: of the base's area that mats cover; the edge must be seen to lie flat
METAL = 0.03  # chosen: by which a plate's litres may differ from the heat of its metal
SWITCH_V = 0.15  # chosen: a transistor that drops more at 3.1 V of gate is no logic-level one
JUNCTION_MARGIN_K = 50.0  # chosen: under the transistor's limit
DRAIN_SHARE = 1.5  # chosen: drain rating over the worst supply
LOAD_W_PER_CM2 = 0.5  # chosen: above this a dry spot scorches
SHARE_LEFT = 0.85  # chosen: of its power that a heater keeps behind cable and contacts
MOST_W = 205.0  # the most whose worst case a supply of 10 A carries; a larger one gives more than these parts carry


class Rule(NamedTuple):
    """One rule: a name, what was computed, the least and the most allowed, the unit, and the builds that it is for."""

    name: str
    value: Callable[[Build], float]
    least: Callable[[Build], float]
    most: Callable[[Build], float]
    unit: str
    applies: Callable[[Build], bool] = lambda build: True


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


def _mat_fuse_load(build: Build) -> float:
    return electrical.mat_worst_a(build) / build.mat_fuse_a if build.mat_fuse_a else 0.0


def _is_bath(build: Build) -> bool:
    return build.heats == "water"


def _is_plate(build: Build) -> bool:
    return build.heats == "plate"


def _litres_over_metal(build: Build) -> float:
    return build.water_l / build.base.stores_l(build.base_m2)


def contacts_may_drop_v(build: Build) -> float:
    """What the contacts of one mat's path may drop together, each of them as the first power-up allows it, V."""
    return (CONTACTS + (1 if build.relayed else 3) + (build.mat_fuse_a is not None)) * CONTACT_V


def box_c(build: Build) -> float:
    """The air in the box at full heat for good, every contact a good one, °C."""
    return electrical.box_c(build, GOOD_SHARE * contacts_may_drop_v(build))


def _guard_fuse_load(build: Build) -> float:
    coils = 2 if build.relayed else 1
    return coils * electrical.worst_v() / build.coil_ohm / build.guard_fuse_a


def rated_c(build: Build) -> float:
    """What mat and insulation take, less a margin, °C."""
    return min(INSULATION_C, build.mat.most_c) - UNDER_RATED_K


def warmest_mat_c(build: Build) -> float:
    """The mat at full heat under the warmest planned bath, with the worst heater, °C."""
    return WARMEST_BATH_C + warmth.mat_over_k(build, worst=True)


def mat_at_hard_limit_c(build: Build) -> float:
    """The mat at full heat as the firmware trips, with the worst heater, °C."""
    return build.hard_limit_c + warmth.mat_over_k(build, worst=True)


def mat_at_over_voltage_c(build: Build) -> float:
    """The mat as the vessel's cut-out opens at its latest, the supply at its own shut-off and the worst heater, °C."""
    over_k = warmth.mat_over_k(build, worst=True) * (build.supply_off_v / electrical.worst_v()) ** 2
    return build.on_vessel.latest_c + over_k


def partly_shorted_mat_c(build: Build) -> float:
    """A mat's wire where a part of it is shorted, at the current that lasts, the vessel's cut-out at its latest, °C."""
    return build.on_vessel.latest_c + warmth.partly_shorted_over_k(build, overload.mat_a(build))


def partly_shorted_may_a(build: Build) -> float:
    """The current at which the wire of a partly shorted mat gets as hot as it may, A."""
    may_k = rated_c(build) - build.on_vessel.latest_c
    return math.sqrt(may_k / warmth.partly_shorted_over_k(build, 1.0)) if may_k > 0.0 else 0.0


def switch_drop_v(build: Build) -> float:
    """Drain to source of Q1, hot, at the worst current, V."""
    return electrical.switch_drop_v(build.switch, electrical.worst_a(build), electrical.gate_v())


def cut_out_at_hard_limit_c(build: Build) -> float:
    """What the vessel's cut-out feels as the firmware trips, °C."""
    return build.hard_limit_c + warmth.cut_out_over_k(build)


RULES = (
    Rule("heater", lambda b: b.heater_w, _none, lambda b: MOST_W, "W"),
    Rule("supply, over the heater's power", lambda b: b.supply_w / b.heater_w, _none, lambda b: SUPPLY_SHARE, ""),
    Rule("supply, for the worst heater", lambda b: b.supply_a, electrical.worst_a, _any, "A"),
    Rule("main fuse, load", lambda b: electrical.worst_a(b) / b.fuse_a, _none, lambda b: FUSE_LOAD, ""),
    Rule("fuse of one mat, load", _mat_fuse_load, _none, lambda b: FUSE_LOAD, "", lambda b: b.mat_fuse_a is not None),
    Rule("guard branch's fuse, load", _guard_fuse_load, _none, lambda b: FUSE_LOAD, ""),
    Rule("cable at the supply's own limit", overload.limit_a, _none, electrical.cable_a, "A"),
    Rule("main fuse under the cable's rating", lambda b: b.fuse_a, _none, electrical.cable_a, "A"),
    Rule("inlet, at what the supply gives into a short", lambda b: b.inlet_a, overload.limit_a, _any, "A"),
    Rule("hand switch, at what lasts in a fault", lambda b: b.hand_switch_a, overload.all_a, _any, "A"),
    Rule("guard relay's contact, at what lasts in a fault", lambda b: b.relay_a, overload.all_a, _any, "A"),
    Rule("plug of one mat, at what lasts in a fault", lambda b: b.plug_a, overload.mat_a, _any, "A"),
    Rule("mat's own leads, at what lasts in a fault", electrical.mat_leads_a, overload.mat_a, _any, "A"),
    Rule("cut-outs, at what lasts in a fault", lambda b: min(b.on_mat.rated_a, b.on_vessel.rated_a),
         overload.cut_outs_a, _any, "A"),
    Rule("thermal fuse, at what lasts in a fault", lambda b: b.fuse.rated_a, overload.cut_outs_a, _any, "A"),
    Rule("cut-outs and thermal fuse, as sold for 24 V DC",
         lambda b: max(b.on_mat.rated_a, b.on_vessel.rated_a, b.fuse.rated_a), _none, lambda b: DIRECT_A, "A"),
    Rule("parts of all mats, at the supply's over-voltage", overload.all_carry_a, overload.at_over_voltage_a, _any,
         "A"),
    Rule("supply shuts itself off, over its upper end", lambda b: b.supply_off_v, lambda b: electrical.worst_v(),
         lambda b: b.switch.drain_v, "V"),
    Rule("mat at the supply's over-voltage, vessel's cut-out at its latest", mat_at_over_voltage_c, _none, rated_c,
         "°C"),
    Rule("mat partly shorted, vessel's cut-out at its latest", partly_shorted_mat_c, _none, rated_c, "°C"),
    Rule("Q1, drain", lambda b: b.switch.drain_v, lambda b: DRAIN_SHARE * electrical.worst_v(), _any, "V"),
    Rule("Q1, drop at the worst current", switch_drop_v, _none, lambda b: SWITCH_V, "V"),
    Rule("Q1, junction", electrical.junction_c, _none,
         lambda b: b.switch.most_c - JUNCTION_MARGIN_K, "°C"),
    Rule("box's air at full heat, good contacts", box_c, _none, lambda b: electrical.BOX_C, "°C"),
    Rule("thermal fuse on Q1, holds for good", lambda b: b.on_switch.holds_c, electrical.junction_c,
         lambda b: b.on_switch.earliest_c, "°C"),
    Rule("thermal fuse on Q1, its mark", lambda b: b.on_switch.marked_c, lambda b: b.on_switch.earliest_c,
         lambda b: b.on_switch.latest_c, "°C"),
    Rule("thermal fuse on Q1, at what lasts in a fault", lambda b: b.on_switch.rated_a, overload.guard_a, _any, "A"),
    Rule("heat of Q1 that its thermal fuse lets pass", switch_heat.unfelt_w, _none,
         lambda b: UNFELT_W, "W"),
    Rule("Q1's tab as its thermal fuse opens, Q1 half on", lambda b: switch_heat.half_on(b).tab_c, _none,
         lambda b: TAB_C, "°C"),
    Rule("cable's drop, share of 24 V", electrical.cable_drop_share, _none, lambda b: CABLE_DROP, ""),
    Rule("contacts of one mat's path", electrical.contacts_drop_v, _none, contacts_may_drop_v, "V"),
    Rule("guard relay's coil, as the gate was simulated", lambda b: b.coil_ohm / 1e3,
         lambda b: electrical.COIL_OHM / 1e3, lambda b: electrical.COIL_OHM / 1e3, "kΩ"),
    Rule("guard relay's coil, at the supply's lower end and warm", lambda b: electrical.coil_v(),
         lambda b: electrical.COIL_WARM * b.pull_in_v, _any, "V"),
    Rule("heater behind cable and contacts, share of its power", electrical.power_share, lambda b: SHARE_LEFT,
         _any, ""),
    Rule("mats, share of what they are glued to", lambda b: b.mat_count * b.mat.area_m2 / b.base_m2, _none,
         lambda b: ON_BASE, ""),
    Rule("strip between the mats, for the vessel's cut-outs", lambda b: 100.0 * vessels.strip_m(b),
         lambda b: STRIP_CM, _any, "cm", _is_plate),
    Rule("room beside the bowl", lambda b: 100.0 * vessels.room_for_probe_m(b),
         lambda b: 100.0 * vessels.PROBE_ROOM_M, _any, "cm"),
    Rule("bowl's steel, by its weight", vessels.bowl_steel_mm, lambda b: BOWL_MM[0], lambda b: BOWL_MM[1], "mm"),
    Rule("empty bowl, one clip open, over the water it displaces", vessels.held_down_kg, vessels.displaced_l, _any,
         "kg", _is_bath),
    Rule("bowl's rim over the vessel's", lambda b: 100.0 * vessels.rim_over_wall_m(b), lambda b: RIM_CM, _any, "cm",
         _is_bath),
    Rule("vessel's rim over the water", lambda b: 100.0 * vessels.wall_over_water_m(b), lambda b: WALL_CM, _any, "cm",
         _is_bath),
    Rule("cut-out's button over the table", lambda b: 100.0 * vessels.button_clear_m(b), lambda b: BUTTON_CM, _any,
         "cm"),
    Rule("half the water over the vessel's cut-out", lambda b: 100.0 * vessels.low_water_over_cut_out_m(b),
         lambda b: LOW_WATER_CM, _any, "cm", _is_bath),
    Rule("litres over the heat of its metal", _litres_over_metal, lambda b: 1.0 - METAL, lambda b: 1.0 + METAL, "",
         _is_plate),
    Rule("surface load", warmth.load_w_per_cm2, _none, lambda b: LOAD_W_PER_CM2, "W/cm²"),
    Rule("mat's cut-out, earliest", lambda b: b.on_mat.earliest_c, lambda b: warmest_mat_c(b) + CLEAR_K, _any, "°C"),
    Rule("mat at the firmware's hard limit, worst heater", mat_at_hard_limit_c, _none,
         lambda b: b.on_mat.earliest_c, "°C"),
    Rule("vessel's cut-out, earliest", lambda b: b.on_vessel.earliest_c, cut_out_at_hard_limit_c, _any, "°C"),
    Rule("vessel's cut-out, latest", lambda b: b.on_vessel.latest_c, _none, lambda b: VESSEL_LATEST_C, "°C"),
    Rule("hard limit over the warmest planned bath", lambda b: b.hard_limit_c, lambda b: WARMEST_BATH_C + 2.0, _any,
         "°C"),
    Rule("thermal fuse, earliest, over the mat's cut-out", lambda b: b.fuse.earliest_c,
         lambda b: b.on_mat.latest_c, _any, "°C"),
    Rule("thermal fuse, its mark", lambda b: b.fuse.marked_c, lambda b: b.fuse.earliest_c, lambda b: b.fuse.latest_c,
         "°C"),
    Rule("thermal fuse, latest, under what mat and insulation take", lambda b: b.fuse.latest_c, _none, rated_c, "°C"),
    Rule("thermal fuse, holds for good", lambda b: b.fuse.holds_c, warmest_mat_c, lambda b: b.fuse.earliest_c, "°C"),
    Rule("heater lag in the rig file, over the computed", lambda b: b.lag_s / warmth.lag_s(b), lambda b: 1.0,
         lambda b: warmth.LAG_ROOM, ""),
)  # fmt: skip


def findings(build: Build) -> list[Finding]:
    """Every rule applied to a build, in the table's order."""
    return [Finding(rule.name, rule.value(build), rule.least(build), rule.most(build), rule.unit)
            for rule in RULES if rule.applies(build)]


def broken(build: Build) -> list[str]:
    """In words, the rules that a build breaks; none for a sound one."""
    return [finding.words() for finding in findings(build) if not finding.holds]
