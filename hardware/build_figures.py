"""The tables of each build's guide, from its ratings and the sums behind them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import partial

from power_table import faults_block
from tables import Row, table
from twins import twins_block

from bainboard import settings
from bainboard.heat_balance import largest_load_j_per_k, smallest_load_j_per_k
from bainwright.builds import electrical, overload, rules, switch_heat, vessels, warmth
from bainwright.builds.catalogue import BUILDS, COIL_CUT_OUT_A
from bainwright.builds.parts import SUPPLY_V, Build
from bainwright.builds.rig_text import twin_name
from bainwright.builds.supply import most_supply_w
from bainwright.core.masses import Shown
from bainwright.physics.materials import STEEL_J_PER_KGK, WATER_J_PER_LK
from bainwright.plan import say
from bainwright.plan.options import PlanOptions, batch_request
from bainwright.plan.parts import Plan
from bainwright.plan.planner import make_plan

HOT_C = 45.0  # where a full bath is taken to be when heat runs away


def _refs(build: Build, name: str) -> str:
    return ", ".join(f"{name}{ref}" for ref in build.refs)


def part_rows(build: Build) -> list[Row]:
    """The power side's parts with their ratings, and the reason for each."""
    mat, on_mat, on_vessel, fuse = build.mat, build.on_mat, build.on_vessel, build.fuse
    worst_a, mat_a = electrical.worst_a(build), electrical.mat_worst_a(build)
    drop_v = electrical.switch_drop_v(build.switch, worst_a, electrical.gate_v())
    rows = [
        ("PS1", "isolated supply, safety-approved, short-circuit proof, its mains lead or inlet moulded on, **no mains "
         f"terminal to wire**, **its minus not joined to mains earth**: {SUPPLY_V:g} V DC, {build.supply_a:g} A is "
         f"one; {_least_supply_a(build):.2f} A or more "
         f"and **at most {most_supply_w(build):g} W**; shuts itself off at {build.supply_off_v:g} V or less "
         "(M)",
         f"gives the worst heater its {worst_a:.2f} A. A larger one would give a short more than the heater's "
         f"{overload.SUPPLY_SHARE:g}-fold power, or than X0, S1, K1, "
         f"{'K2' if build.relayed else 'the cut-outs'} or a partly shorted mat take. If it lost its regulation, "
         "its own shut-off bounds the heat"),
        ("X0", f"2-pole plug and socket that fit one way only, ≥ {build.inlet_a:g} A at 30 V **DC**, unlike X1",
         f"where the supply's cable enters the box: lies before every fuse, so it carries the "
         f"{overload.limit_a(build):.3g} A that the supply gives into a short"),
        ("F1", f"blade fuse and holder, {build.fuse_a:g} A, 32 V **DC** (M)",
         f"loaded to {100 * worst_a / build.fuse_a:.0f} % at worst (C). The supply's own limit may keep a short from "
         f"blowing it. Then {build.wire_mm2:g} mm² must carry that limit, and does (C)"),
    ]
    if build.mat_fuse_a:
        rows.append((_refs(build, "F2"),
                     f"blade fuse and holder each, two spare, {build.mat_fuse_a:g} A, 32 V **DC** (M)",
                     f"one for each mat, loaded to {100 * mat_a / build.mat_fuse_a:.0f} % at worst (C)"))
    rows += [
        ("F3", f"glass fuse 5 x 20 mm and in-line holder, {build.guard_fuse_a:g} A, quick, 32 V **DC** or more",
         "at S1's own terminal: a short in the guard relay's thin wires blows this one; F1 would not"),
        ("TF2", f"thermal fuse, one-shot: {build.on_switch.marked_c:g} °C, holds {build.on_switch.holds_c:g} °C for "
         f"good (M); ≥ {build.on_switch.rated_a:g} A at 24 V **DC**; one more of the lot, for its test; a strip of "
         "metal, polyimide tape, two butt crimps",
         f"on the tab of Q1, in the wire behind F3. A Q1 that is left half on takes up to "
         f"{electrical.half_on_w(build):.0f} W itself: this one opens {'K1 and K2' if build.relayed else 'K1'} "
         "then, whatever the firmware does (C)"),
        ("S1", f"hand switch on the front, ≥ {build.hand_switch_a:g} A at 30 V **DC**",
         "hands near the heater; an AC-only rocker may arc"),
        ("K1", f"guard relay, normally open: contact {build.relay_a:g} A at 30 V **DC**, coil 24 V "
         f"≥ {build.coil_ohm / 1e3:g} kΩ, pulls in at {build.pull_in_v:g} V or less (M); a socket for it with "
         "screws or blades, as strong. Where each side of its contact has two pins, the heater's wire joins both",
         "opens the *positive* lead, Q1 the negative. A lead chafed to 0 V leaves one of them in charge"),
        ("Q1, Q2", f"n-MOSFET, **logic level**, TO-220, ≥ {build.switch.drain_v:g} V: {build.switch.kind} is one (M). "
         f"Q1 on an aluminium heat sink of 9 °C/W or better, {1000.0 * build.sink.kg:.0f} g or "
         "more, with pins for a board, a screw M3 and heat paste. It touches nothing else: the tab is the drain",
         f"at most {1000 * drop_v:.0f} mV, hot, at {worst_a:.2f} A with {electrical.gate_v():.2f} V at its gate (C). "
         "Data sheets promise nothing there, so the drop is *measured* at first power-up"),
        (_refs(build, "RH"), f"silicone heating mat, {mat.size}, {SUPPLY_V:g} V, {mat.power_w:g} W, {mat.ohm:.2f} Ω; "
         f"rated {mat.most_c:g} °C (M); its own leads {mat.lead_mm2:g} mm² or more, 180 °C",
         f"{warmth.load_w_per_cm2(build):.2f} W/cm² (C): a low surface load"),
        *_relay_rows(build),
        (_refs(build, "TCO1"), f"bimetal cut-out on the mat, **manual reset**: {on_mat.opens_c:g} ± "
         f"{on_mat.tolerance_k:g} °C; ≥ {on_mat.rated_a:g} A at 24 V **DC**{_or_by_relay(build)}",
         f"opens at {on_mat.earliest_c:g} °C or later; the warmest mat of planned use is "
         f"{rules.warmest_mat_c(build):.0f} °C (C). One that resets by itself would cycle all night unseen"),
        (_refs(build, "TCO2"), f"bimetal cut-out on the {build.vessel}, **manual reset**: {on_vessel.opens_c:g} ± "
         f"{on_vessel.tolerance_k:g} °C; ≥ {on_vessel.rated_a:g} A at 24 V **DC**{_or_by_relay(build)}",
         f"opens at {on_vessel.earliest_c:g} °C or later, over the firmware's {build.hard_limit_c:g} °C. TCO1 never "
         "sees a bath that a few watts overheat; this one does"),
        (_refs(build, "TF1"), f"thermal fuse, one-shot: {fuse.marked_c:g} °C, holds {fuse.holds_c:g} °C for good (M); "
         f"≥ {fuse.rated_a:g} A at 24 V **DC**{_or_by_relay(build)}; one more of the lot, for its test",
         "the last one, for the cut-out's failure. **Crimped**: solder would open it"),
        *([] if build.relayed else [
            ("K2, D7, X5, X6", "with their thin wire and sleeve, as in the [pot](pot-rig.md)'s list, K2's contact "
             "as K1's",
             f"only where cut-outs and TF1 may not switch {build.fuse.rated_a:g} A of DC ([how](electronics.md))")]),
        (_refs(build, "X1"), f"2-pole plug and socket, ≥ {build.plug_a:g} A, unlike X2 and X3",
         "comes apart, so that the vessel can be emptied and wiped; never into the sink. S1 off first: pulled under "
         "heat, an arc eats its contacts"),
        ("wire", f"silicone, stranded, {build.wire_mm2:g} mm², 180 °C, {_wire_m(build):g} m",
         f"carries {electrical.cable_a(build):g} A (DIN VDE 0298-4, M)"),
    ]
    return rows


def _or_by_relay(build: Build) -> str:
    """What a cut-out or thermal fuse in the heater's lead may be instead."""
    return "" if build.relayed else f", or {COIL_CUT_OUT_A:g} A with relay K2 ([how](electronics.md))"


def _blade_wire(build: Build) -> str:
    """The wire that a cut-out's blades take."""
    thin = f"{THIN_MM2:g} mm²"
    return thin if build.relayed else f"{build.wire_mm2:g} mm² (with K2: {thin})"


def _foam_ends(build: Build) -> str:
    """Where the foam leaves the clamp of the clips on bare metal."""
    return ", up to 2 cm below the rim: no clamp holds over foam" if build.heats == "water" else ""


def _relay_rows(build: Build) -> list[Row]:
    """The second relay, its coil's diode and the plugs of its circuit."""
    if not build.relayed:
        return []
    return [
        ("K2", f"relay as K1, with its socket: contact {build.relay_a:g} A at 30 V **DC**, coil 24 V "
         f"≥ {build.coil_ohm / 1e3:g} kΩ",
         "the cut-outs carry its coil, because hardly one is sold that may switch the heater's current as DC. TF1 "
         "carries K1's: a relay that is welded leaves the other"),
        ("D7", "diode 1N4007", "across K2's coil, its ring to the cut-outs' side"),
        ("X5, X6", f"2-pole plug and socket each, ≥ {COIL_CUT_OUT_A:g} A, unlike X0 and X1",
         "the cut-outs' thin wires, and TF1's; swapped, they do the same"),
        ("wire", f"thin: silicone, {THIN_MM2:g} mm², {_thin_wire_m(build):g} m, and glass-fibre sleeve for it",
         "from the box to cut-outs and TF1"),
    ]


THIN_MM2 = 0.5  # chosen: carries far more than a coil's current, and push-on terminals and butt crimps grip it
THIN_WIRE_M = 2.0  # chosen: for the box and between the cut-outs of one mat, beside both plugs' cables


def _thin_wire_m(build: Build) -> float:
    return 4.0 * build.run_m + THIN_WIRE_M * build.mat_count


BOX_WIRE_M = 2.0  # chosen: for the box, beside each mat's cable there and back


def _wire_m(build: Build) -> float:
    return 2.0 * build.run_m * build.mat_count + BOX_WIRE_M


def _least_supply_a(build: Build) -> float:
    """What the worst heater takes, rounded up."""
    return 0.01 * math.ceil(100.0 * electrical.worst_a(build))


LAP = 1.1  # chosen: what is cut away of insulation
FIXING = {
    "water": ("stainless hose clamp round the vessel", "holds TCO2 to the wall"),
    "plate": ("strip of metal and two screws M3, each, as long as strip, flange and 4 mm",
              "hold TCO2a and TCO2b in the strip between the mats"),
}


def vessel_rows(build: Build) -> list[Row]:
    """What the electric parts are fixed to, in the sizes that the plan and the simulated warmer take."""
    bowl = (f"straight walls, {100 * vessels.bowl_m(build):.1f} cm across, {100 * vessels.bowl_height_m(build):.1f} cm "
            "high")
    base = build.base
    holds = f"about {build.bowl_kg:g} kg; holds {build.chocolate_kg:g} kg of chocolate"
    mats, wall_m = build.mat_count, vessels.filled_m(build)
    if build.heats == "water":
        rim_cm = 100.0 * (vessels.rim_over_wall_m(build) + (build.wall_m or 0.0))
        wide = (f"{100 * build.base_sides_m[0]:.0f} cm inside, {100 * (build.wall_m or 0.0):g} cm high "
                f"({100 * wall_m + rules.WALL_CM:.1f} to {rim_cm - rules.RIM_CM:.1f})")
        rows = [
            (build.vessel, f"steel, flat bottom of {1000 * base.thick_m:g} mm, {wide}",
             f"{build.water_l:g} L, measured, with the bowl clipped down reach {100 * wall_m:.1f} cm: make your mark "
             "there, half a centimetre lower or higher with another bowl. Poured to that height without the bowl, it "
             "would be twice as much"),
            ("bowl", f"steel, {bowl}", holds),
            ("ring", f"wire ring or trivet, {100 * vessels.ring_m(build):.1f} cm high",
             "holds the bowl off the bottom; water flows under it. Each millimetre of ring more puts the mark "
             f"{vessels.mark_per_ring(build):.1f} mm lower: only the gap round the bowl fills"),
            (f"{vessels.CLIPS} x clip", "stainless toggle latch, its bow reaching "
             f"{100 * vessels.room_for_probe_m(build):.0f} cm inwards over the bowl's rim, its foot under a second "
             f"hose clamp, on bare metal, below the {build.vessel}'s rim, **which is the lower of the two**; each "
             f"holds {build.clip_kg:g} kg by a hanging scale",
             f"an empty bowl of {build.bowl_kg:g} kg in place of {vessels.displaced_l(build):.1f} kg of water floats, "
             "tips and takes in water; any four of them hold it down, level. Over a wall as high as the bowl they "
             "would lift it"),
            ("cover", f"ring of silicone sheet, hole {100 * vessels.bowl_m(build):.0f} cm",
             "covers the open water, with a notch for each clip; without it the bath loses more"),
        ]
    else:
        across = " x ".join(f"{100 * side_m:.0f}" for side_m in build.base_sides_m)
        rows = [
            ("plate", f"{base.name}, {across} cm, {1000 * base.thick_m:g} mm thick, bare or anodised",
             "a hole for the probe, 6.3 mm wide for a tube of 6 mm and 40 mm deep; four blind holes M3, 7 mm deep"),
            ("bowl", f"steel, **flat bottom**, {bowl}", holds),
            ("heat paste", "a gram", "round the probe in its hole"),
        ]
    lagged_m2 = LAP * vessels.lagged_m2(build)
    return [
        *rows,
        ("tray", f"metal, feet of {100 * build.feet_m:g} cm with ends of silicone, a rim of 1 cm, a hole under each "
         "cut-out that faces down",
         "carries the insulation and insulates from an earthed table; glued to the foam, as the foam is to the "
         f"{build.vessel}, so that all turns over as one, each by a bead that can be cut again; a button clears the "
         f"table by {100 * vessels.button_clear_m(build):.1f} cm"),
        ("insulation", f"silicone foam, {1000 * vessels.INSULATION_M:g} mm, rated {rules.INSULATION_C:g} °C or more, "
         f"{lagged_m2:.2f} m²",
         f"under and round it{_foam_ends(build)}. A mat that is partly shorted gets up to "
         f"{rules.partly_shorted_mat_c(build):.0f} °C (C): "
         "no melamine foam, which takes 150 °C (M); no polystyrene, cork or cloth, which burn"),
        *([("hood", "of the same foam, 4 x 6 cm and 2 cm thick, hollow, held by a band",
            "over TCO2 on the wall: nothing presses its button or touches its blades; lifted to reset it")]
          if build.heats == "water" else []),
        ("silicone", f"high-temperature adhesive, **neutral-curing**, {rules.INSULATION_C:g} °C or more",
         "glues mat, cut-outs and insulation, and cures as its maker says, a day or more, before any heat. One that "
         "smells of vinegar eats copper, crimps and blades (common practice, no source)"),
        (f"{mats} x fixing", FIXING[build.heats][0], FIXING[build.heats][1]),
        (f"{2 * mats} crimps, {mats} x 40 cm sleeve", "non-insulated butt crimps; glass-fibre sleeve",
         "for the leads of each thermal fuse on a mat, and for each lead that lies on a mat's back"),
        (f"{4 * mats} receptacles", "push-on, 6.3 mm, crimped, for "
         f"{_blade_wire(build)}, in glass-fibre sleeve",
         "two for each cut-out's blades"),
        (f"{mats} x cable clamp", "stainless, screwed or on the hose clamp",
         "takes the pull of the cable, so that mat and fuse do not"),
    ]


def value_rows(build: Build) -> list[Row]:
    """Currents, drops, losses and temperatures, each with its sum."""
    rated_a, worst_a = electrical.rated_a(build), electrical.worst_a(build)
    mat, count = build.mat, build.mat_count
    each = f", {count} of them" if count > 1 else ""
    drop_v = electrical.switch_drop_v(build.switch, worst_a, electrical.gate_v())
    cable_ohm, path_ohm = electrical.cable_ohm(build), electrical.path_ohm(build)
    flux, opens = warmth.flux_w_per_m2(build), switch_heat.half_on(build)
    return [
        ("mat", f"24² / {mat.power_w:g}{each}", f"{mat.ohm:.2f} Ω; together {rated_a:.2f} A"),
        ("heater, worst", f"{electrical.worst_v():.1f} V on 0.9 x {mat.ohm:.2f} Ω{each}",
         f"{worst_a:.2f} A, {electrical.worst_v() * worst_a:.0f} W"),
        ("switch-on", "a mat is resistive and has no capacitor before it", "the same; nothing rushes in"),
        ("supply over heater",
         f"24 x {build.supply_a:g} / {build.heater_w:g}, wanted at most {overload.SUPPLY_SHARE:g}",
         f"{build.supply_w / build.heater_w:.2f}"),
        ("lasts in a fault, all mats", f"the supply's limit, {overload.OVERLOAD:g} x {build.supply_a:g}, or "
         f"{overload.BLOWS:g} x F1's {build.fuse_a:g} (ISO 8820-3, M)", f"{overload.all_a(build):.3g} A"),
        *([("lasts in a fault, one mat", f"{overload.BLOWS:g} x F2's {build.mat_fuse_a:g}",
            f"{overload.mat_a(build):.3g} A")] if build.mat_fuse_a else []),
        ("supply at its shut-off", f"{build.supply_off_v:g} V on the worst heater",
         f"{overload.at_over_voltage_a(build):.2f} A, {build.supply_off_v * overload.at_over_voltage_a(build):.0f} W"),
        ("cable", f"2 x {build.run_m:g} m of {build.wire_mm2:g} mm², "
         f"{electrical.CABLE_OHM_PER_KM[build.wire_mm2]:g} mΩ/m (IEC 60228 class 5, M)",
         f"{1000 * cable_ohm:.0f} mΩ, {rated_a / count * cable_ohm:.2f} V"),
        ("one mat's path, worst", "cable, contacts, Q1", f"{1000 * path_ohm:.0f} mΩ"),
        ("heater on that path", f"({mat.ohm:.2f} / ({mat.ohm:.2f} + path))²",
         f"{100 * electrical.power_share(build):.0f} % of its power"),
        ("Q1, worst", f"square law, {electrical.gate_v():.2f} V at the gate, threshold "
         f"{build.switch.threshold_v:g} V, hot", f"{1000 * drop_v:.0f} mV, {electrical.conduction_w(build):.2f} W"),
        ("Q1, left half on by a fault", f"{electrical.worst_v():.1f} V x {worst_a:.2f} A / 4",
         f"{electrical.half_on_w(build):.0f} W"),
        ("TF2 opens then", f"{build.sink.j_per_k:.0f} J/K of heat sink, TF2 {switch_heat.FUSE_LAG_S:g} s behind it",
         f"within {math.ceil(opens.after_s):g} s from a cool box; the tab at {opens.tab_c:.0f} °C in a warm one"),
        ("heat of Q1 that may never open TF2", f"({build.on_switch.latest_c:g} - {switch_heat.COOL_C:g}) °C / "
         f"{build.sink.k_per_w:g} °C/W", f"{switch_heat.unfelt_w(build):.1f} W"),
        ("Q1, turning on and off", f"{electrical.PWM_HZ:g} times a second, {build.switch.switched_nc:g} nC through "
         f"{electrical.GATE_SERIES_OHM + electrical.PIN_OHM:g} Ω", f"{electrical.switching_w(build):.2f} W"),
        ("Q1, junction, on its heat sink",
         f"{electrical.BOX_C:g} °C in the box, {build.sink.k_per_w:g} °C/W, both losses",
         f"{electrical.junction_c(build):.0f} °C of {build.switch.most_c:g}"),
        ("box's air, full heat for good", f"{electrical.BOX_ROOM_C:g} °C of room, {electrical.BOX_M2:.2f} m² at "
         f"{electrical.BOX_W_PER_M2K:g} W/m²K; contacts, Q1, coils, board",
         f"{rules.box_c(build):.0f} °C; {electrical.box_c(build, rules.contacts_may_drop_v(build)):.0f} °C with every "
         f"contact at {rules.CONTACT_V:g} V"),
        ("mat's wire over it, a part of the mat shorted", f"{overload.mat_a(build):.3g} A in any share that is left",
         f"{warmth.partly_shorted_over_k(build, overload.mat_a(build)):.0f} °C"),
        ("mat over its water" if build.heats == "water" else "mat over its plate",
         f"{flux:.0f} W/m² through {'rubber, glue and film' if build.heats == 'water' else 'rubber and glue'}",
         f"{warmth.mat_over_k(build):.0f} °C; worst heater {warmth.mat_over_k(build, worst=True):.0f} °C"),
        ("TCO2 over what it guards", "the wall as a cooled fin" if build.heats == "water" else "through the metal",
         f"{warmth.cut_out_over_k(build):.1f} °C"),
        ("cut-outs open early by their own current", f"{electrical.mat_worst_a(build):.2f}² A² x "
         f"{1000 * warmth.CUT_OUT_OHM:g} mΩ x {warmth.CUT_OUT_K_PER_W:g} °C/W",
         f"{warmth.own_heat_k(build):.1f} °C") if not build.relayed else
        ("cut-outs open early by their own current", "a coil's current", "by nothing"),
        ("heat's lag", "rubber and base behind what lies before them", f"{warmth.lag_s(build):.0f} s"),
        *_bath_rows(build),
    ]


def _bath_rows(build: Build) -> list[Row]:
    """How fast the whole heater can move it, no losses, as the firmware counts its loads; a runaway at its worst."""
    values = {**settings.defaults(settings.SETTINGS), "water_l": build.water_l, "bowl_kg": build.bowl_kg,
              "chocolate_kg": build.chocolate_kg}  # fmt: skip
    loads = {"full": largest_load_j_per_k(values)}
    if build.heats == "water":
        loads["half dry, no bowl"] = smallest_load_j_per_k(values)
    else:
        loads["bare"] = build.water_l * WATER_J_PER_LK
    worst_w = electrical.worst_v() * electrical.worst_a(build)
    rise_k = build.on_vessel.latest_c - HOT_C
    rows = []
    for name, load in loads.items():
        rows.append((f"full heat, {name}", f"{build.heater_w:g} W / {load:.0f} J/K",
                     f"{60.0 * build.heater_w / load:.2f} °C a minute"))
        rows.append((f"from {HOT_C:g} °C to TCO2's latest, {name}",
                     f"{rise_k:g} °C at the worst heater's {worst_w:.0f} W, no losses",
                     f"{rise_k * load / worst_w / 60.0:.1f} min"))
    return rows


def parts_block(build: Build) -> str:
    """The parts of a build's power side."""
    return table(("ref", "part and rating", "why"), part_rows(build))


def vessel_block(build: Build) -> str:
    """What the electric parts are fixed to."""
    return table(("part", "what", "why"), vessel_rows(build))


def values_block(build: Build) -> str:
    """A build's reference values."""
    return table(("what", "from", "computed"), value_rows(build))


def rules_block(build: Build) -> str:
    """Every rule applied to a build."""
    def limits(found: rules.Finding) -> str:
        low = f"≥ {found.least:.3g}" if found.least > 0.0 else ""
        high = f"≤ {found.most:.3g}" if found.most < float("inf") else ""
        return " and ".join(part for part in (low, high) if part)

    return table(("rule", "got", "wanted"), [
        (found.name, f"{found.value:.3g} {found.unit}".strip(), f"{limits(found)} {found.unit}".strip())
        for found in rules.findings(build)
    ])  # fmt: skip


def readings_block() -> str:
    """What a meter and a thermometer must show at the first power-up, for each build."""
    def row(what: str, text: Callable[[Build], str]) -> tuple[str, ...]:
        return (what, *[text(build) for build in BUILDS])

    return table(("must be", *[build.name for build in BUILDS]), [
        row("each mat at its plug X1 (build mat: its cut-outs and fuse in line)",
            lambda b: f"{0.9 * b.mat.ohm:.1f} to {1.1 * b.mat.ohm + 0.2:.1f} Ω"),
        row("volts times amperes, full on, all mats", lambda b: f"{_least_w(b):.0f} to {_most_w(b):.0f} W"),
        row("drain to source of Q1, in the first minute full on", lambda b: f"under {_most_drop_mv(b):.0f} mV"),
        row("mat's back over its water or plate, after two minutes full on",
            lambda b: f"{0.6 * warmth.mat_over_k(b):.0f} to {1.3 * warmth.mat_over_k(b):.0f} °C"),
        row("rise in a hold from cold, filled, bowl empty",
            lambda b: f"{_rise(b, 0.7):.1f} to {_rise(b, 1.25):.1f} °C a minute"),
        row("TCO1 opens", lambda b: f"{b.on_mat.earliest_c:g} to {b.on_mat.latest_c:g} °C"),
        row("TCO2 still closed at", lambda b: f"{b.on_vessel.earliest_c - 1:g} °C"),
        row("TCO2 open at", lambda b: f"{b.on_vessel.latest_c:g} °C"),
        row("thermal fuse of TF1's lot opens", lambda b: f"{b.fuse.earliest_c:g} to {b.fuse.latest_c:g} °C"),
        row("thermal fuse of TF2's lot opens", lambda b: f"{b.on_switch.earliest_c:g} to {b.on_switch.latest_c:g} °C"),
    ])  # fmt: skip


def margins_block() -> str:
    """What opens at which temperature, from the coolest layer to the last, for each build."""
    def row(what: str, text: Callable[[Build], str]) -> tuple[str, ...]:
        return (what, *[text(build) for build in BUILDS])

    return table(("°C", *[build.name for build in BUILDS]), [
        row("warmest bath of a plan", lambda b: f"{rules.WARMEST_BATH_C:g}"),
        row("firmware's hard limit", lambda b: f"{b.hard_limit_c:g}"),
        row("vessel's cut-out at that limit, full heat", lambda b: f"{rules.cut_out_at_hard_limit_c(b):.1f}"),
        row("**vessel's cut-out opens**", lambda b: f"**{b.on_vessel.earliest_c:g} to {b.on_vessel.latest_c:g}**"),
        row("mat under the warmest bath, full heat", lambda b: f"{rules.warmest_mat_c(b):.1f}"),
        row("mat at the hard limit, full heat", lambda b: f"{rules.mat_at_hard_limit_c(b):.1f}"),
        row("**mat's cut-out opens**", lambda b: f"**{b.on_mat.earliest_c:g} to {b.on_mat.latest_c:g}**"),
        row("thermal fuse holds for good", lambda b: f"{b.fuse.holds_c:g}"),
        row("**thermal fuse opens**", lambda b: f"**{b.fuse.earliest_c:g} to {b.fuse.latest_c:g}**"),
        row("mat's wire, a part of it shorted", lambda b: f"{rules.partly_shorted_mat_c(b):.0f}"),
        row("**insulation's rating**", lambda b: f"**{rules.INSULATION_C:g}**"),
        row("Q1's tab in the box, full heat", lambda b: f"{electrical.junction_c(b):.0f}"),
        row("**thermal fuse on Q1 opens**", lambda b: f"**{b.on_switch.earliest_c:g} to {b.on_switch.latest_c:g}**"),
    ])  # fmt: skip


def _least_w(build: Build) -> float:
    """The supply at its lower end, each mat at its most resistance, and every contact as bad as the page allows."""
    ends = electrical.SUPPLY_LOW**2 / (1.0 + electrical.MAT_TOLERANCE)
    mat_a = electrical.rated_a(build) / build.mat_count
    allowed = replace(build, contact_ohm=rules.contacts_may_drop_v(build) / mat_a)
    return ends * electrical.power_share(allowed) * build.heater_w


def _most_w(build: Build) -> float:
    return electrical.worst_v() * electrical.worst_a(build)


def _most_drop_mv(build: Build) -> float:
    """The worst part at its coolest, rounded up to 10 mV: one that shows more now is over the sums when it is hot."""
    drop_v = electrical.switch_drop_v(build.switch, electrical.worst_a(build), electrical.gate_v(), hot=1.0)
    return 10.0 * -(-100.0 * drop_v // 1.0)


def _rise(build: Build, share: float) -> float:
    """So many °C a minute, at most what the firmware asks for at once; a share of either is what warmers differ by."""
    stored = build.water_l * WATER_J_PER_LK + build.bowl_kg * STEEL_J_PER_KGK
    asked = settings.defaults(settings.SETTINGS)["gains.slew_c_per_min"]
    return share * min(60.0 * build.heater_w / stored, asked)


def which_block() -> str:
    """The three builds side by side, times by the plan."""
    plans = [make_plan(batch_request(PlanOptions("dark", f"{b.chocolate_kg}kg", rig=twin_name(b)), Shown()))
             for b in BUILDS]  # fmt: skip

    def row(what: str, text: Callable[[Build, Plan], str]) -> tuple[str, ...]:
        return (what, *[text(build, plan) for build, plan in zip(BUILDS, plans, strict=True)])

    return table(("", *[f"[{build.name}]({build.name}-rig.md)" for build in BUILDS]), [
        row("what it is", lambda b, p: b.title),
        row("chocolate at once", lambda b, p: f"{b.chocolate_kg:g} kg"),
        row("heater", lambda b, p: f"{b.heater_w:g} W at 24 V"),
        row("supply, isolated", lambda b, p: f"{b.supply_a:g} A, {b.supply_w:.0f} W"),
        row("heats", lambda b, p: f"{b.water_l:g} L of water" if b.heats == "water" else "its metal, no water"),
        row("melts a full bowl in", lambda b, p: say.band(p.melt.took) if p.melts_here and p.melt.took else "no: melt "
            "elsewhere"),
        row("warm for a bowl in temper in", lambda b, p: say.band(p.warm_up.took) if p.warm_up.took else "never"),
        row("holds with, uncovered", lambda b, p: f"{p.needs[-2].need_w:.0f} W"),
        row("parts of the power side", lambda b, p: _power_side(b)),
        row("it suits", lambda b, p: SUITS[b.name]),
        row("it cannot", lambda b, p: CANNOT[b.name]),
    ])  # fmt: skip


ROOMS_C = (14.0, 17.0, 20.0, 24.0)


def kitchens_block() -> str:
    """What each build needs in a cold and in a warm kitchen, full of dark, its ring covered as its twin's."""
    rows = []
    for room_c in ROOMS_C:
        plans = [make_plan(batch_request(PlanOptions("dark", f"{b.chocolate_kg}kg", rig=twin_name(b),
                                                     room=f"{room_c:g}C"), Shown())) for b in BUILDS]  # fmt: skip
        melts = [say.band(p.melt.took) if p.melts_here and p.melt.took else "melt elsewhere" for p in plans]
        holds = [f"{p.needs[-1].need_w:.0f} W, {p.needs[-1].reserve:.1f} times" for p in plans]
        rows.append((f"{room_c:g} °C", *melts, *holds))
    return table(("room", *[f"{b.name} melts in" for b in BUILDS], *[f"{b.name} holds with, reserve" for b in BUILDS]),
                 rows)


def _power_side(build: Build) -> str:
    count = build.mat_count
    mats = f"{count} mats, each" if count > 1 else "1 mat,"
    return f"{len(part_rows(build))} kinds of part; {mats} with its own cut-outs and fuse"


SUITS = {
    "mat": "a first build, small batches, the least that can go wrong",
    "pot": "an evening of two kilograms, from melting to dipping",
    "plate": "dipping and holding where no water may be near",
}
CANNOT = {
    "mat": "melt quickly; melt more than one bowl",
    "pot": "stand on a stove; hold more than 3 L",
    "plate": "melt and then hold; take a round-bottomed bowl; use mains elements",
}


BLOCKS: dict[str, tuple[str, Callable[[], str]]] = {
    f"{build.name} {what}": (f"{build.name}-rig.md", partial(make, build))
    for build in BUILDS
    for what, make in (("parts", parts_block), ("vessel", vessel_block), ("values", values_block),
                       ("rules", rules_block),
                       ("faults", faults_block))
}
BLOCKS["which"] = ("README.md", which_block)
BLOCKS["kitchens"] = ("README.md", kitchens_block)
BLOCKS["twins"] = ("README.md", twins_block)
BLOCKS["margins"] = ("SAFETY.md", margins_block)
BLOCKS["readings"] = ("first-power-up.md", readings_block)
