"""Currents, drops and losses between the supply and the heater, each from one formula with its source."""

from __future__ import annotations

import math

from bainwright.builds.parts import SUPPLY_V, Build, Transistor

SUPPLY_TOP, SUPPLY_LOW = 1.05, 0.95  # a supply's trimmer or tolerance, both ends; chosen
MAT_TOLERANCE = 0.10  # of a mat's resistance; data sheets, from memory
RAIL_LOW_V = 3.2  # the board's 3.3 V, lower end; as in the heartbeat gate's corners
COIL_OHM = 1400.0  # guard relay, 24 V, at least (data sheets, from memory); the heartbeat gate is simulated with it
GATE_SERIES_OHM, GATE_PULL_OHM = 100.0, 4700.0
HOT = 1.5  # a MOSFET conducts so much worse at 100 °C; data sheets' figure of on-resistance, from memory
PIN_OHM = 50.0  # of a pin at its usual drive strength; RP2040 data sheet, from memory
PWM_HZ = 100.0  # the firmware's, for a MOSFET (`PWM_HZ` of bainboard.board, which only a board can import)
COIL_WARM = 1.16  # a coil 40 °C warmer pulls in so much later: copper, 0.39 % for each °C (handbooks, from memory)
BOX_C = 40.0  # air in the closed box, chosen
BOX_ROOM_C = 25.0  # a warm kitchen, chosen
BOX_M2 = 2.0 * (0.20 * 0.15 + 0.20 * 0.10 + 0.15 * 0.10)  # the box of the shopping list, all sides
BOX_W_PER_M2K = 4.0  # natural convection and radiation in and out through plastic, from memory
BOARD_W = 0.3  # the board, from memory

# IEC 60228, class 5 (flexible, plain copper), highest resistance at 20 °C; from memory.
CABLE_OHM_PER_KM = {0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98}
# DIN VDE 0298-4, flexible cords of two loaded cores, 30 °C; from memory.
CABLE_A = {0.75: 12.0, 1.0: 15.0, 1.5: 18.0, 2.5: 26.0}


def rated_a(build: Build) -> float:
    """Current of the whole heater at 24 V, A."""
    return build.heater_w / SUPPLY_V


def worst_v() -> float:
    """The most the supply gives, V."""
    return SUPPLY_V * SUPPLY_TOP


def worst_a(build: Build) -> float:
    """Current with the supply at its top and every mat at its least resistance; no contact or cable helps, A.

    A mat is resistive and hardly changes as it warms, so nothing draws more at switch-on.
    """
    return build.mat_count * mat_worst_a(build)


def mat_worst_a(build: Build) -> float:
    """The same for one mat, A."""
    return worst_v() / (build.mat.ohm * (1.0 - MAT_TOLERANCE))


def _of_cable(table: dict[float, float], wire_mm2: float) -> float:
    """A figure of a cable; NaN, which breaks every rule, for a cross-section that is not sold."""
    return table.get(wire_mm2, math.nan)


def cable_a(build: Build) -> float:
    """What the cable of one mat may carry, A."""
    return _of_cable(CABLE_A, build.wire_mm2)


def mat_leads_a(build: Build) -> float:
    """What a mat's own leads may carry, A."""
    return _of_cable(CABLE_A, build.mat.lead_mm2)


def cable_ohm(build: Build) -> float:
    """One mat's cable, there and back, ohm."""
    return 2.0 * build.run_m * _of_cable(CABLE_OHM_PER_KM, build.wire_mm2) / 1000.0


def cable_drop_share(build: Build) -> float:
    """Of the supply's voltage that is lost in one mat's cable."""
    return cable_ohm(build) / build.mat.ohm


def contacts_drop_v(build: Build) -> float:
    """Lost in the contacts of one mat's path, V: each of them is measured at the first power-up."""
    return rated_a(build) / build.mat_count * build.contact_ohm


def gate_v() -> float:
    """The least voltage at the gate of Q1 when the pin is high, V."""
    return RAIL_LOW_V * GATE_PULL_OHM / (GATE_PULL_OHM + GATE_SERIES_OHM)


def switch_drop_v(switch: Transistor, current_a: float, gate_v: float, hot: float = HOT) -> float:
    """Drain to source of a MOSFET of the highest threshold, by the square law; hot, unless `hot` is 1.

    I = k ((Vg - Vt) Vd - Vd²/2), with k = g² / 2I from the data sheet's transconductance. It is an estimate below the
    gate voltages that data sheets promise, so the drop is measured at the first power-up too.

    Returns
    -------
    float
        V; infinite where it cannot carry the current at all.
    """
    k = switch.siemens**2 / (2.0 * switch.at_a) / hot
    over_v = gate_v - switch.threshold_v
    inside = over_v**2 - 2.0 * current_a / k
    if over_v <= 0.0 or not inside >= 0.0:
        return math.inf
    return over_v - math.sqrt(inside)


def conduction_w(build: Build) -> float:
    """Loss of Q1 at the worst current, full on, W."""
    current_a = worst_a(build)
    return current_a * switch_drop_v(build.switch, current_a, gate_v())


def half_on_w(build: Build) -> float:
    """The most that Q1 takes when a fault leaves it half on, W: as many ohms as the heater, a quarter of its heat."""
    return 0.25 * worst_v() * worst_a(build)


def switching_w(build: Build) -> float:
    """Loss of Q1 in turning on and off, W: a triangle of voltage and current for as long as the pin moves its charge.

    The pin pushes against the threshold as it turns on, and pulls from it as it turns off.
    """
    switch = build.switch
    charge_c, ohm = 1e-9 * switch.switched_nc, PIN_OHM + GATE_SERIES_OHM
    on_v = gate_v() - switch.threshold_v
    if not on_v > 0.0:
        return math.inf
    moving_s = charge_c * ohm * (1.0 / on_v + 1.0 / switch.threshold_v)
    return 0.5 * worst_v() * worst_a(build) * moving_s * PWM_HZ


def switch_w(build: Build) -> float:
    """All of Q1's loss at the worst current, W: at a duty just under full it conducts and switches."""
    return conduction_w(build) + switching_w(build)


def junction_c(build: Build) -> float:
    """Junction of Q1 in the warm box, °C."""
    return BOX_C + switch_w(build) * build.sink.k_per_w


def box_w(build: Build, contacts_v: float) -> float:
    """Heat in the box at full heat, its contacts together at so many volts, W."""
    coils_w = (2 if build.relayed else 1) * SUPPLY_V**2 / COIL_OHM
    return rated_a(build) * contacts_v + switch_w(build) + coils_w + BOARD_W


def box_c(build: Build, contacts_v: float) -> float:
    """The air in the closed box at full heat for good, in a warm kitchen, °C."""
    return BOX_ROOM_C + box_w(build, contacts_v) / (BOX_W_PER_M2K * BOX_M2)


def coil_v() -> float:
    """The least voltage on the guard relay's coil, V; its fuse, its float and Q2 take nothing that counts at 20 mA."""
    return SUPPLY_V * SUPPLY_LOW


def path_ohm(build: Build) -> float:
    """Cable, contacts and Q1 in one mat's path, ohm: Q1 counts once for each mat, because it carries them all."""
    current_a = rated_a(build)
    switch_ohm = switch_drop_v(build.switch, current_a, gate_v()) / current_a
    return cable_ohm(build) + switch_ohm * build.mat_count + build.contact_ohm


def power_share(build: Build) -> float:
    """Share of its rated power that the heater gives behind its cable and contacts, supply at 24 V."""
    ohm = build.mat.ohm
    return (ohm / (ohm + path_ohm(build))) ** 2
