"""Gains worked out from litres, kilograms, watts and the heater's lag: safe on any warmer, until it is tuned.

Water: an integrator (its heat capacity) behind the heater's lag, the probe's lag and dead time. SIMC (Skogestad 2003)
with closed-loop time 1.5 dead times, since the half rule flatters an integrator: Ms at most 2.0; with a probe twice
as slow as said 2.3, with such a heater 2.6. A derivative is added only where one quantum of the probe through it moves
the duty little, which is where it pays: strong heaters with long lags. The rest gets a PI.
Bowl: one lag (chocolate and bowl over the film at its wall) behind the water's own closed loop, the wall and the bowl
probe. SIMC again, its gain for a bowl a fifth full, its integral time for a full one: neither end is too lively. Its
derivative cancels the lags of wall and probe. No gain is taken for that: a heater may be slower than it is said to be.
Simulated on eleven warmers (60-1000 W, 0.8-6 L, lags 20-120 s), its gain times 0.7 or 1.4 moves the error under 10 %.
On a board it is loaded where gains are worked out, and dropped again: see heap_reserve.
"""

from math import pi

from bainboard.control.gains import Gains

WATER_J_PER_LK = 4180.0  # J/L·K, 20 to 45 °C (IAPWS)
CHOCOLATE_J_PER_KGK = 1590.0  # 15-40 °C (Beckett, constants table, 4th ed.)
CHOCOLATE_KG_PER_M3 = 1200.0  # at 40 °C (Beckett, constants table, 4th ed.)
STEEL_J_PER_KGK = 500.0  # stainless bowl, from memory
PROBE_LAG_S = 15.0  # s, a probe in a steel sleeve; chosen, such probes have 5-30 s
READING_AGE_S = 1.5  # s, a conversion is read one tick on, and lasts half a tick on average; chosen
WALL_LAG_S = 30.0  # s, bowl wall and the chocolate next to it; chosen
FILM_W_PER_M2K = 60.0  # bowl wall to chocolate; chosen: 0.27 W/m·K (Beckett) through 5 mm left unstirred is 54
FIFTH = 0.4  # time constant of a bowl a fifth full over a full one's; chosen: round bowls 0.5, flat ones 0.3
CLOSED = 2.5  # closed-loop time plus dead time, in dead times; SIMC's own choice of 2 gives Ms up to 2.9; chosen
MOST_BOWL_KP = 6.0  # K/K, a quantum of 1/16 K then moves the water's target by 3/8 K; chosen
MOST_DERIVED_KP = 0.6  # duty/K, over it a quantum's kick needs a filter longer than half of td (see pid.KICK); chosen
# Of the drop from water to chocolate, what a bowl at rest has before its wall, at the least. Of 48 simulated warmers of
# other structures, none stirred, it took four walls over their ceiling, by under 0.15 K. It does not follow the learnt
# coupling: that may be a stirred bowl's. Taken for warmers that were learnt; for others the wall is as warm as the
# water.
WALL_SHARE = 0.04
BATH_W_PER_K = 1.0  # loss of a covered bath of 2 L to the room; chosen low, the integral finds the rest
BOWL_LOSS_W_PER_K = 0.93  # loss of a bowl of 2 kg to the room (computed from handbook films, +-30 %)


def given_gains(values) -> Gains:
    """Gains of a settings document as they are given: zero where none is."""
    gains = Gains()
    gains.water_kp, gains.water_ti_s, gains.water_td_s = (values["gains.water." + k] for k in ("kp", "ti_s", "td_s"))
    gains.bowl_kp, gains.bowl_ti_s, gains.bowl_td_s = (values["gains.bowl." + k] for k in ("kp", "ti_s", "td_s"))
    gains.water_weight, gains.bowl_weight = values["gains.water.weight"], values["gains.bowl.weight"]
    gains.loss_w_per_k = values["gains.loss_w_per_k"]
    gains.ceiling_margin_c = values["gains.ceiling_margin_c"]
    gains.slew_c_per_min = values["gains.slew_c_per_min"]
    gains.heater_w = values["heater_w"]
    gains.water_j_per_k = values["gains.water_j_per_k"] or values["water_l"] * WATER_J_PER_LK
    gains.bowl_w_per_k = values["gains.bowl_w_per_k"] or FILM_W_PER_M2K * wetted_m2(values["chocolate_kg"])
    gains.wall_share = WALL_SHARE if values["gains.bowl_w_per_k"] else 0.0
    bowl_j_per_k = values["chocolate_kg"] * CHOCOLATE_J_PER_KGK + values["bowl_kg"] * STEEL_J_PER_KGK
    gains.bowl_tau_s = values["gains.bowl_tau_s"] or bowl_j_per_k / gains.bowl_w_per_k
    return gains


def safe_gains(values) -> Gains:
    """Gains of a settings document: those given as they are, each that is zero worked out from the rest."""
    gains = given_gains(values)
    slope_per_s = gains.heater_w / gains.water_j_per_k
    dead_s = READING_AGE_S + values["period_s"] / 2.0
    (kp, ti_s, td_s), closed_s = water_rule(slope_per_s, dead_s, values["heater_lag_s"], PROBE_LAG_S)
    if not gains.water_kp > 0.0:  # a gain given without a derivative means none is wanted
        gains.water_td_s = gains.water_td_s or td_s
    gains.water_kp = gains.water_kp or kp
    gains.water_ti_s = gains.water_ti_s or ti_s
    kp, ti_s = bowl_rule(gains.bowl_tau_s, closed_s + PROBE_LAG_S + WALL_LAG_S)
    if not gains.bowl_kp > 0.0:
        gains.bowl_td_s = gains.bowl_td_s or PROBE_LAG_S + WALL_LAG_S
    gains.bowl_kp = gains.bowl_kp or kp
    gains.bowl_ti_s = gains.bowl_ti_s or ti_s
    bath_w_per_k = BATH_W_PER_K * (values["water_l"] / 2.0) ** (2.0 / 3.0)
    bowl_w_per_k = BOWL_LOSS_W_PER_K * (values["chocolate_kg"] / 2.0) ** (2.0 / 3.0)
    gains.loss_w_per_k = gains.loss_w_per_k or bath_w_per_k + bowl_w_per_k
    return gains


def wetted_m2(chocolate_kg: float) -> float:
    """Wall that chocolate touches in a half-round bowl it fills."""
    radius_m = (3.0 * chocolate_kg / (2.0 * pi * CHOCOLATE_KG_PER_M3)) ** (1.0 / 3.0)
    return 2.0 * pi * radius_m * radius_m


def half_rule(dead_s: float, lags_s: tuple, kept: int) -> tuple:
    """Skogestad's half rule: (effective dead time, last kept lag) when `kept` of the lags, longest first, are kept."""
    lags = sorted(lags_s, reverse=True)
    half_s = lags[kept] / 2.0
    last_s = lags[kept - 1] + half_s if kept else 0.0
    return dead_s + half_s + sum(lags[kept + 1:]), last_s


def simc_integrating(slope_per_s: float, closed_s: float, second_s: float = 0.0) -> tuple:
    """SIMC for slope/s with one more lag: ISA (kp, ti_s, td_s); `closed_s` is closed-loop time plus dead time."""
    ti_s = 4.0 * closed_s
    series = 1.0 + second_s / ti_s  # its rule is for the series form
    return series / (slope_per_s * closed_s), ti_s * series, second_s / series


def water_rule(slope_per_s: float, dead_s: float, heater_lag_s: float, probe_lag_s: float) -> tuple:
    """((kp, ti_s, td_s), closed_s) for the water: a PID where the probe's quantum leaves it room, else a PI."""
    lags_s = (heater_lag_s, probe_lag_s)
    theta_s, _ = half_rule(dead_s, lags_s, 0)
    theta_pid_s, second_s = half_rule(dead_s, lags_s, 1)
    # no faster than half of what the PI does: the lags are guesses; nor than the quantum allows
    closed_s = max(CLOSED * theta_pid_s, CLOSED * theta_s / 2.0, 1.0 / (slope_per_s * MOST_DERIVED_KP))
    if closed_s < 0.75 * CLOSED * theta_s:
        return simc_integrating(slope_per_s, closed_s, second_s), closed_s
    return simc_integrating(slope_per_s, CLOSED * theta_s), CLOSED * theta_s


def bowl_rule(tau_s: float, theta_s: float) -> tuple:
    """(kp, ti_s) of the bowl's controller for a full bowl's time constant and the dead time before it."""
    kp = min(MOST_BOWL_KP, FIFTH * tau_s / (2.0 * theta_s))
    return kp, min(tau_s, 4.0 * tau_s / kp)
