"""The circuits as data: every net driven once, every input defined in reset, and what each single failure does."""

import re
import shutil
import sys
from collections import Counter, defaultdict
from dataclasses import replace
from pathlib import Path

import pytest

from bainboard import pins
from bainwright.builds import electrical, rules, supply
from bainwright.builds.catalogue import BUILDS, BY_NAME, MAT_BY_RELAY, PLATE, POT

HARDWARE = Path(__file__).parents[2] / "hardware"
sys.path.insert(0, str(HARDWARE))

import box_circuit  # noqa: E402 - scripts beside the pages, not a package
import build_figures  # noqa: E402
import draw_wiring  # noqa: E402
import gate_circuit  # noqa: E402
import power_circuit  # noqa: E402
import power_faults  # noqa: E402
import power_table  # noqa: E402
import shopping  # noqa: E402

each_build = pytest.mark.parametrize("build", BUILDS, ids=list(BY_NAME))
either_way = pytest.mark.parametrize("build", [*BUILDS, MAT_BY_RELAY], ids=lambda build: build.name)
needs_ngspice = pytest.mark.skipif(not shutil.which("ngspice"), reason="ngspice is a Debian package; CI installs it")
OUTPUTS = {"heartbeat", "guard", "heater", "lamp_below", "lamp_in", "lamp_above", "buzzer"}  # the board drives them
INPUTS = {"yes", "no", "float", "onewire"}  # the board reads them
BUS = {"sda", "scl"}  # a display module has pull-ups of its own
BOARD_PINS = OUTPUTS | INPUTS | BUS
RAILS = {"0", "vcc", "5v", "24v"}
DRIVEN_BY = {"NMOS": 1, "NPN": 1}  # the pin of a transistor that must never float; a PNP's is tied to its emitter


def circuit(build):
    """Every part of the three circuits as (ref, kind, nets)."""
    parts = (*gate_circuit.PARTS, *gate_circuit.BESIDE, *box_circuit.PARTS, *power_circuit.parts(build))
    return [(part.ref, part.kind, part.nets) for part in parts]


def drivers(parts):
    """Nets with those that drive them: comparators' outputs, the board's pins, the rails."""
    found = defaultdict(list)
    for ref, kind, nets in parts:
        if kind == "COMPARATOR" and nets[2]:
            found[nets[2]].append(ref)
    for net in OUTPUTS | RAILS:
        found[net].append("board or supply")
    return found


def inputs(parts):
    """What must never float: comparators' inputs, transistors' gates and bases, and what the board reads."""
    for ref, kind, nets in parts:
        if kind == "COMPARATOR":
            yield from ((f"{ref} in+", nets[0]), (f"{ref} in-", nets[1]))
        elif kind in DRIVEN_BY:
            yield ref, nets[DRIVEN_BY[kind]]
    yield from ((name, name) for name in INPUTS)


def reached(parts, start):
    """Nets that resistors and links join to one: what defines it while every pin of the board floats."""
    seen, todo = {start}, [start]
    while todo:
        net = todo.pop()
        for _, kind, nets in parts:
            if kind in ("R", "LINK") and net in nets:
                new = set(nets) - seen
                seen |= new
                todo += new - RAILS
    return seen


def floating(parts):
    """Inputs that no resistor holds in reset."""
    return {name for name, net in inputs(parts) if not reached(parts, net) & RAILS}


def unprotected(parts):
    """Coils and buzzers without a diode from their switched end to their supply."""
    diodes = {nets for _, kind, nets in parts if kind == "D"}
    return {ref for ref, kind, (supply, switched) in (part for part in parts if part[1] in ("COIL", "BUZZER"))
            if (switched, supply) not in diodes}


@each_build
def test_no_net_has_two_drivers_and_none_ends_in_the_air(build):
    parts = circuit(build)
    assert {net: refs for net, refs in drivers(parts).items() if len(refs) > 1} == {}
    ends = Counter(net for _, _, nets in parts for net in nets if net)
    ends.update(BOARD_PINS)
    assert {net for net, count in ends.items() if count < 2} == set()


@each_build
def test_every_input_is_held_by_a_resistor_while_the_board_is_in_reset(build):
    assert floating(circuit(build)) == set()


@pytest.mark.parametrize(("without", "floats"), [
    ({"R15"}, {"Q1"}), ({"R22"}, {"Q3"}), ({"R23"}, {"onewire"}), ({"R16"}, {"yes"}), ({"R25", "R24a"}, {"float"}),
    ({"R12a", "R12c"}, {"Q2"}),
])  # fmt: skip
def test_the_rule_sees_an_input_without_its_resistor(without, floats):
    assert floating([part for part in circuit(POT) if part[0] not in without]) == floats


def test_what_has_a_coil_has_a_diode_and_the_rule_sees_one_that_is_missing_or_turned():
    parts = circuit(POT)
    assert unprotected(parts) == set()
    assert unprotected([part for part in parts if part[0] != "D6"]) == {"BZ1"}
    turned = [(ref, kind, nets[::-1] if ref == "D5" else nets) for ref, kind, nets in parts]
    assert unprotected(turned) == {"K1"}


@each_build
def test_pins_that_are_wired_are_those_of_the_map_that_the_pages_do_not_call_free(build):
    wired = {net for _, _, nets in circuit(build) for net in nets} & set(pins.RP2)
    assert wired == BOARD_PINS == set(pins.RP2) - set(draw_wiring.NOT_FITTED)
    free = re.findall(r"`(\w+)` \| free", (HARDWARE / "electronics.md").read_text(encoding="utf-8"))
    assert set(free) == set(draw_wiring.NOT_FITTED)


def ohm_of(net):
    """The resistor between a lamp's node and what feeds it."""
    return next(part.value for part in box_circuit.PARTS if part.kind == "R" and net in part.nets)


def test_lamps_take_a_few_milliamperes_and_no_more_than_a_pin_gives():
    """Ohm: a LED drops 1.8 to 2.2 V (M); an RP2040's pin gives 12 mA at its strongest (M); 24 V lamps 5 mA at most."""
    for part in box_circuit.PARTS:
        if part.kind == "LED":
            supply_v, most_a = (24.0, 0.005) if part.ref == "LED5" else (3.3, 0.012)
            assert 0.0015 < (supply_v - 2.0) / ohm_of(part.nets[0]) < most_a, part.ref


def test_buzzer_s_transistor_is_driven_hard_and_is_off_in_reset():
    """2N3904 (M): gain over 30 at 50 mA, so a tenth of 30 mA saturates it. 10 µA of leak leave its base under 0.1 V."""
    base_ohm, off_ohm = box_circuit.BY_REF["R21"].value, box_circuit.BY_REF["R22"].value
    base_a = (3.2 - 0.75) / base_ohm - 0.75 / off_ohm
    assert 0.030 / base_a < 15.0
    assert base_a < 0.012
    assert 10e-6 * off_ohm < 0.1


def test_probes_share_one_bus_that_each_can_pull_low_and_that_rises_in_time():
    """DS18B20 (M): sinks 4 mA at 0.4 V; a read slot is sampled 15 µs after its start; 6 m of cable, 100 pF/m, 50 pF."""
    pull_ohm = box_circuit.BY_REF["R23"].value
    probes = [part for part in box_circuit.PARTS if part.kind == "PROBE"]
    assert len(probes) == 2
    assert {part.nets for part in probes} == {("vcc", "onewire", "0")}
    assert len({re.search(r"(\d)-pole", part.label)[1] for part in probes}) == 2  # no plug fits the other's socket
    assert 3.4 / pull_ohm < 0.004
    assert 2.2 * pull_ohm * (6.0 * 100e-12 + 50e-12) < 15e-6


REF = re.compile(r"\b(?:PS|TCO|TF|RH|BZ|IC|LED|[RCDQXSJKF])\d+[a-d]?\b")


def drawn_refs(build):
    """What the stored drawing names; another test holds it to what the script draws."""
    drawing = draw_wiring.sheet_path(build).read_text(encoding="utf-8")
    return set(REF.findall(" ".join(re.findall(r">([^<>]+)<", drawing))))


def listed_refs(build):
    """What the shopping list of the box and the parts list of a build name."""
    words = [row[2] for row in shopping.shopping_rows()] + [row[0] for row in build_figures.part_rows(build)]
    return set(REF.findall(" ".join(words)))


@each_build
def test_whatever_is_drawn_is_in_a_list_of_what_to_buy_and_the_reverse(build):
    assert len(drawn_refs(build)) > 60
    float_switch = {"S2"} if build.heats == "plate" else set()  # in the list of every box; a plate has no water
    assert drawn_refs(build) ^ listed_refs(build) == BESIDE_THE_SUPPLIES_OF_ICS | float_switch


BESIDE_THE_SUPPLIES_OF_ICS = {"C3", "C4"}  # the drawing says in words: 100n across each


def test_whatever_the_pages_name_is_in_a_list_of_what_to_buy():
    """A page of all builds may say TCO1 for the plate's TCO1a and TCO1b."""
    everywhere = set().union(*(listed_refs(build) for build in BUILDS))
    families = everywhere | {ref.rstrip("abcd") for ref in everywhere}
    for page in HARDWARE.glob("*.md"):
        named = set(REF.findall(page.read_text(encoding="utf-8")))
        own = next((families_of(build) for build in BUILDS if page.name == f"{build.name}-rig.md"), families)
        assert named - own == set(), page.name


def families_of(build):
    listed = listed_refs(build)
    return listed | {ref.rstrip("abcd") for ref in listed}


def test_shopping_list_counts_each_resistor_of_the_box_once():
    """By hand, from the drawing: 4.7k at R3, R9, R13a, R13b, R15, R22, R23 and R25; 620k four times."""
    counts = {what: int(count) for count, what, _ in shopping.shopping_rows() if count.isdigit()}
    assert counts["resistor 4.7k, 5 %, 0.25 W"] == 8
    assert counts["resistor 620k 1 %, metal film, 0.25 W"] == 4
    assert counts["capacitor 4.7 µF film 5 %, 50 V or more, legs 5 mm apart, at most 7.2 mm thick"] == 4
    assert {colour: counts[shopping.LAMP.format(colour)] for colour in shopping.COLOURS} == {
        "yellow": 1, "green": 1, "red": 3}
    assert counts["dual comparator TLC393, DIP-8"] == 2


@each_build
def test_every_ref_of_the_power_stage_is_in_the_drawing_and_changes_with_its_rating(build):
    drawn = (HARDWARE / f"{build.name}-wiring.svg").read_text(encoding="utf-8")
    for part in power_circuit.parts(build):
        assert part.ref in drawn
    labels = {part.label for part in power_circuit.parts(build)}
    assert {part.label for part in power_circuit.parts(replace(build, fuse_a=build.fuse_a + 5.0))} != labels


@either_way
def test_no_single_failure_heats_a_board_that_is_off(build):
    rows = [row for row in power_faults.read() if row["build"] == build.name]
    assert {(row["part"], row["fault"]) for row in rows} == {
        ("-", "nothing"), *((fault.ref, fault.how) for fault in power_faults.faults(build))}
    for row in rows:
        assert float(row["off_w"]) < power_table.WARM_SHARE * build.heater_w, row
        assert float(row["heats_w"]) < 2.05 * build.heater_w, row


@either_way
def test_only_a_welded_guard_and_a_conducting_switch_pass_heat_that_one_of_the_two_should_stop(build):
    """By hand: the two are in series, so the part that failed is the one whose own column shows heat."""
    rows = [row for row in power_faults.read() if row["build"] == build.name]
    tripped = {row["part"] for row in rows if float(row["tripped_w"]) > 1.0 and not list(power_table.blown(build, row))}
    idle = {(row["part"], row["fault"]) for row in rows if float(row["idle_w"]) > 1.0}
    assert tripped == {"K1"}
    assert idle == {("Q1", "drain to source shorted"), ("Q1", "gate joint open"), ("Q1", "drain to gate shorted"),
                    ("lead back to Q1", "chafed to 0 V")}


@either_way
def test_no_single_failure_loads_a_part_over_its_rating(build):
    assert power_table.over_rating(build) == []


@either_way
@pytest.mark.parametrize("halve", [
    "inlet_a", "hand_switch_a", "relay_a", "plug_a", "on_mat", "on_vessel", "fuse", "on_switch",
])  # fmt: skip
def test_half_of_any_rating_is_too_little_in_some_failure(build, halve):
    whole = getattr(build, halve)
    half = whole / 2.0 if isinstance(whole, float) else replace(whole, rated_a=whole.rated_a / 2.0)
    assert power_table.over_rating(replace(build, **{halve: half}))


@each_build
def test_the_largest_supply_that_a_guide_allows_is_the_largest_that_its_rules_do(build):
    most_a = supply.most_supply_w(build) / 24.0
    assert rules.broken(replace(build, supply_a=most_a)) == []
    assert power_table.over_rating(replace(build, supply_a=most_a)) == []
    assert rules.broken(replace(build, supply_a=1.02 * most_a)) != []


def test_currents_of_named_failures_are_ohm_s_by_hand():
    """Worst heater 25.2 V on 0.9 R, R = 24² / 60: half of the mat 5.83 A, over the supply's 1.5 x 3 A. At 32.4 V
    3.75 A. Plate: F2a sees 25.2 / (0.5 x 5.184) = 9.72 A, less drops, and 1.35 x 7.5 A would blow it.
    """
    rows = {(row["build"], row["part"], row["fault"]): row for row in power_faults.read()}
    half = rows["mat", "RH", "half of it shorted"]
    assert float(half["supply_a"]) == pytest.approx(5.83, rel=0.03)
    assert power_table.tightest(BY_NAME["mat"], half)[1] == pytest.approx(4.5)
    assert float(rows["mat", "PS1", power_faults.OVER_VOLTAGE]["supply_a"]) == pytest.approx(3.75, rel=0.03)
    assert float(rows["plate", "RHa", "half of it shorted"]["mat_a"]) == pytest.approx(9.72, rel=0.06)
    assert list(power_table.blown(PLATE, rows["plate", "RHa", "half of it shorted"])) == []
    assert list(power_table.blown(PLATE, rows["plate", "RHa", "shorted"])) == ["F2a"]
    assert list(power_table.blown(POT, rows["pot", "lead 24 V S", "chafed to 0 V"])) == ["F3"]


@needs_ngspice
def test_a_board_whose_0_v_is_cut_off_heats_and_any_one_of_its_wires_prevents_that():
    """By hand, hardware/SAFETY.md: K1's coil lifts Q1's gate to 24 V x 4.7k / (1.4k + 0.15k + 4.7k) = 18 V."""
    cut = [(ref, 0) for ref, _, _ in power_circuit.ZERO_WIRES]
    none_left = power_faults.PowerFault("0 V", "open", tuple(cut[:2]))
    watts = dict(zip(power_faults.STATES, power_faults.simulate(POT, none_left).watts, strict=True))
    assert watts["idle"] > 0.9 * power_faults.simulate(POT).watts[-1]
    assert watts["off"] < 1.0
    for wire in cut:
        sound = power_faults.simulate(POT, power_faults.PowerFault("0 V", "open", (wire,))).watts
        assert sound == pytest.approx(power_faults.simulate(POT).watts, abs=0.1)


def of_each_guard_wire(build, fault):
    """The rows of a touch that the wire to K2's coil, the one back from TF1 and the feed of both can have."""
    rows = [row for row in power_table.rows_of(build) if row["fault"] == fault]
    assert len(rows) == 3
    return rows


@pytest.mark.parametrize("build", [POT, PLATE, MAT_BY_RELAY], ids=lambda build: build.name)
def test_a_relay_fed_by_its_own_contact_is_found_as_the_self_test_opens_the_guard(build):
    """By hand: with K1 open all the heat's current, 2.5 A and more, comes by F3; 1.05 A blows it (IEC 60127-2)."""
    for row in of_each_guard_wire(build, power_faults.TOUCHES_HEAT):
        assert float(row["tripped_w"]) > 0.9 * build.heater_w
        assert list(power_table.blown(build, row)) == ["F3"]
        assert 0.9 * electrical.rated_a(build) < float(row["guard_a"])


@pytest.mark.parametrize("build", [POT, PLATE, MAT_BY_RELAY], ids=lambda build: build.name)
def test_a_guard_s_wire_on_the_mat_s_minus_lead_blows_its_fuse_at_the_first_heat(build):
    """By hand: Q1 puts that wire on 0 V, and the supply's whole current then comes by F3."""
    for row in of_each_guard_wire(build, power_faults.TOUCHES_MINUS):
        assert "F3" in power_table.blown(build, row)
        assert all(float(row[f"{state}_w"]) < 1.0 for state in power_faults.STATES)


def test_half_a_plate_still_heats_when_one_mat_is_lost():
    """24² / 5.76 = 100 W for one mat, less the drops in its leads."""
    rows = {(row["part"], row["fault"]): row for row in power_faults.read() if row["build"] == "plate"}
    for part in ("F2a", "X1b", "RHb"):
        assert float(rows[part, "open"]["heats_w"]) == pytest.approx(98.0, abs=3.0)


@pytest.mark.parametrize("build", [POT, PLATE, MAT_BY_RELAY], ids=lambda build: build.name)
def test_cut_outs_by_relay_pass_the_rules_and_each_of_them_takes_all_heat_away(build):
    """By hand: every cut-out, thermal fuse, X5, X6 and K2 is in series with the heat or with a relay's coil."""
    assert rules.broken(build) == []
    rows = {(row["part"], row["fault"]): row for row in power_faults.read() if row["build"] == build.name}
    named = ("TCO", "TF1", "X5", "X6", "K2")
    opened = [(part.ref, "open") for part in power_circuit.parts(build) if part.ref.startswith(named)]
    assert len(opened) == 3 + 3 * build.mat_count
    for key in (*opened, ("lead to K2's coil", "chafed to 0 V"), ("D7", "shorted")):
        row = rows[key]
        heats_w = 0.0 if list(power_table.blown(build, row)) else float(row["heats_w"])
        assert heats_w < 1.0, key


@needs_ngspice
@pytest.mark.parametrize(("build", "ref", "how"), [
    (POT, "-", "nothing"), (POT, "Q1", "drain to source shorted"), (POT, "K1", "shorted"), (PLATE, "RHa", "open"),
    (BY_NAME["mat"], "Q1", "gate joint open"), (BY_NAME["mat"], "lead to RH", "chafed to 0 V"),
    (PLATE, "RHa", "half of it shorted"), (POT, "lead 24 V S", "chafed to 0 V"),
    (POT, "PS1", power_faults.OVER_VOLTAGE), (PLATE, "F3", "open"), (PLATE, "TF2", "touches Q1's tab"),
    (PLATE, "TCO1b", "open"), (POT, "K2", "shorted"), (MAT_BY_RELAY, "TF1", "open"), (POT, "W1", "open"),
])  # fmt: skip
def test_stored_heat_is_what_the_simulation_gives_now(build, ref, how):
    """Oracle: ngspice, on the netlist made from the build's table."""
    row = next(row for row in power_faults.read()
               if (row["build"], row["part"], row["fault"]) == (build.name, ref, how))
    found = power_faults.worst(build, ref, how)
    for state, watts in zip(power_faults.STATES, found.watts, strict=True):
        assert abs(watts) == pytest.approx(float(row[f"{state}_w"]), abs=0.1)
    for name in power_faults.MOST:
        assert min(getattr(found, name), 999.0) == pytest.approx(float(row[name]), abs=0.01), name
