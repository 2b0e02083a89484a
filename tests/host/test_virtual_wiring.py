"""Pin edges become heat through the wiring: guard, heartbeat gate, and the faults of both. No processes."""

from __future__ import annotations

from typing import Any

import pytest
from still_world import StillWorld

from bainwright.files.rig import load_rig
from bainwright.virtual.shared_memory import AT_EDGES, SharedMemory
from bainwright.virtual.standins._shared import BEAT_BIT, EDGES, GUARD_BIT
from bainwright.virtual.wiring import Wiring, crc8, rom_word

SECOND_US = 1_000_000
WATTS = 100.0
FULL, GUARD, BEAT = 65535 << 8, GUARD_BIT, BEAT_BIT


class Rigged:
    """A bench and the hand that moves its pins."""

    def __init__(self, **settings: Any) -> None:
        self.shared = SharedMemory()
        self.world = StillWorld(31.0, 29.5, ())
        values = {**load_rig("pot").settings, "heater_w": WATTS, **settings}
        self.wiring = Wiring(self.world, values, self.shared, None)
        self.wiring.power_up()
        self.wiring.arm(0)

    def edge(self, at_s: float, outputs: int) -> None:
        head = self.shared.edge_head
        at = (AT_EDGES >> 3) + 2 * (head % EDGES)
        self.shared.words[at], self.shared.words[at + 1] = round(at_s * SECOND_US), outputs
        self.shared.edge_head = head + 1

    def joules(self, to_s: float) -> float:
        before = self.world.energy_j
        self.wiring.advance(round(to_s * SECOND_US))
        return self.world.energy_j - before


def test_heat_needs_switch_guard_and_a_beating_heart() -> None:
    rig = Rigged()
    rig.edge(1.0, FULL)  # the switch alone
    assert rig.joules(2.0) == 0.0
    rig.edge(2.0, FULL | GUARD)  # nobody beats
    assert rig.joules(3.0) == 0.0
    rig.edge(3.0, FULL | GUARD | BEAT)
    assert rig.joules(4.0) == pytest.approx(WATTS)
    rig.edge(4.0, GUARD)
    assert rig.joules(5.0) == 0.0


def test_the_guard_lets_go_two_seconds_after_the_last_beat() -> None:
    rig = Rigged()
    rig.edge(0.0, FULL | GUARD | BEAT)
    assert rig.joules(10.0) == pytest.approx(2.0 * WATTS)
    rig.edge(10.0, FULL | GUARD | BEAT)
    rig.edge(11.5, FULL | GUARD | BEAT)
    assert rig.joules(20.0) == pytest.approx(3.5 * WATTS)


def test_without_a_guard_the_switch_alone_heats() -> None:
    rig = Rigged(guard=False)
    rig.edge(1.0, FULL)
    assert rig.joules(3.0) == pytest.approx(2.0 * WATTS)


def test_switching_is_integrated_to_the_microsecond() -> None:
    rig = Rigged(guard=False)
    for n in range(50):
        rig.edge(n, FULL)
        rig.edge(n + 0.123456, 0)
    assert rig.joules(50.0) == pytest.approx(50 * 0.123456 * WATTS, rel=1e-9)


def test_a_pulse_width_heats_by_its_mean() -> None:
    rig = Rigged(guard=False)
    rig.edge(0.0, 13107 << 8)  # a fifth of 65535
    assert rig.joules(10.0) == pytest.approx(2.0 * WATTS)


@pytest.mark.parametrize(
    ("fault", "outputs", "heats"),
    [
        ("switch_shorted", GUARD | BEAT, True),  # the guard closed: heat with the switch off
        ("switch_shorted", 0, False),  # the guard still cuts
        ("guard_welded", FULL, True),  # no guard, no beat: heat all the same
        ("guard_welded", 0, False),  # the switch still cuts
        ("heater_open", FULL | GUARD | BEAT, False),
    ],
)
def test_faults_of_the_heating_circuit(fault: str, outputs: int, heats: bool) -> None:
    rig = Rigged()
    rig.wiring.fault(fault, True)
    rig.edge(0.0, outputs)
    assert (rig.joules(1.0) > 0.0) is heats
    rig.wiring.fault(fault, False)
    sound = outputs == (FULL | GUARD | BEAT)
    assert (rig.joules(1.5) > 0.0) is sound


def test_a_stuck_probe_keeps_reading_what_it_last_read() -> None:
    rig = Rigged()
    rig.wiring.convert(3)
    before = rig.shared.get("reading", 0)
    rig.wiring.fault("water_stuck", True)
    rig.world.temps_c["water"] = 60.0
    rig.wiring.convert(3)
    assert rig.shared.get("reading", 0) == before == 31 * 16
    rig.wiring.fault("water_stuck", False)
    rig.wiring.convert(3)
    assert rig.shared.get("reading", 0) == 60 * 16


def test_made_up_ids_have_the_family_of_the_part_and_a_valid_check_byte() -> None:
    # The id 02 1C B8 01 00 00 00 has the check byte A2: the worked example of Maxim's application note 27.
    assert crc8(bytes.fromhex("021cb801000000")) == 0xA2
    ids = [rom_word("", place).to_bytes(8, "little", signed=True) for place in range(2)]
    assert len(set(ids)) == 2
    for rom in ids:
        assert rom[0] == 0x28
        assert crc8(rom) == 0
    assert rom_word("28ff641d8216041c", 0).to_bytes(8, "little", signed=True).hex() == "28ff641d8216041c"
