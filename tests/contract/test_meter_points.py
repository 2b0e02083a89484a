"""Where a meter goes: each point lies on a net of the circuits, is drawn, and shows what a simulation of it shows."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from drawn import drawn_words, each_build

HARDWARE = Path(__file__).parents[2] / "hardware"
sys.path.insert(0, str(HARDWARE))

import box_circuit  # noqa: E402 - scripts beside the pages, not a package
import draw_wiring  # noqa: E402
import gate_circuit  # noqa: E402
import meter_points  # noqa: E402
import power_circuit  # noqa: E402
import power_faults  # noqa: E402

POINTS = {point.ref: point for point in meter_points.points()}


@each_build
def test_each_point_lies_on_a_net_of_its_own_and_is_drawn_once(build):
    parts = (*gate_circuit.PARTS, *box_circuit.PARTS, *power_circuit.parts(build))
    nets = [point.net for point in POINTS.values()]
    assert set(nets) <= {net for part in parts for net in part.nets}
    assert len(nets) == len(set(nets))
    drawn = re.findall(r"\bTP\d+\b", drawn_words(draw_wiring.sheet_path(build)))
    assert sorted(drawn) == sorted(POINTS)


def volts(text):
    """The first number of a cell."""
    return float(re.search(r"[\d.]+", text)[0])


@each_build
@pytest.mark.skipif(not shutil.which("ngspice"), reason="ngspice is a Debian package; CI installs it")
def test_points_of_the_power_side_show_what_the_circuit_simulation_shows(build, tmp_path):
    """Oracle: ngspice, the power stage at 24 V. F1, S1 and K1 may take 0.15 V each."""
    deck = power_faults.netlist(build)
    names = {"TP1": "24v", "TP3": "24v_s", "TP4": "guarded", "TP5": "drain", "TP6": "q1_gate"}
    assert names == {ref: POINTS[ref].net for ref in names}
    shown = "print " + " ".join(f"v({net})" for net in names.values())
    path = tmp_path / "power.cir"
    path.write_text(re.sub(r"^print .*$", shown, deck, flags=re.M))
    said = subprocess.run(["ngspice", "-b", str(path)], capture_output=True, text=True, check=False, timeout=60).stdout
    found = [float(each) for each in re.findall(r"^v\(\w+\) = (\S+)", said, re.M)]
    states = dict(zip(power_faults.STATES, [found[at : at + 5] for at in range(0, len(found), 5)], strict=True))
    for state, column in (("idle", 1), ("heats", 2)):
        supply_v, branch_v, guarded_v, drain_v, gate_v = states[state]
        assert 22.8 < supply_v < 25.2
        for ref, volts_there in (("TP3", branch_v), ("TP4", guarded_v)):
            less_v = volts(POINTS[ref].shows[2].partition("less ")[2])
            assert 0.0 <= supply_v - volts_there < (less_v if column == 2 else 0.01)
        if column == 1:
            assert POINTS["TP5"].shows[column] == "as TP1"
            assert drain_v == pytest.approx(supply_v, abs=0.1)
            assert gate_v < 0.1
        else:
            assert drain_v < 0.1
            assert gate_v == pytest.approx(volts(POINTS["TP6"].shows[column]), abs=0.15)


def test_references_and_store_are_the_gate_s_by_hand():
    """3.3 V x 10k / 66k = 0.50 V; the store's middle must be twice that; after an edge 3.3 V less two diodes' drops."""
    assert [POINTS[ref].shows[1] for ref in ("TP9", "TP10")] == ["0.50 V", "0.50 V"]
    low, high = map(float, re.findall(r"[\d.]+", POINTS["TP8"].shows[1]))
    assert low == pytest.approx(1.0)
    assert 2.5 < high < 3.3 - 0.5
