"""The rules that give gains where a warmer has none of its own."""

from bainboard import settings
from bainboard.control.rules import bowl_rule, half_rule, safe_gains, simc_integrating, water_rule


def values(**changes):
    """Settings at their defaults but for these; two underscores for a dot."""
    doc = settings.defaults(settings.SETTINGS)
    doc.update({name.replace("__", "."): value for name, value in changes.items()})
    return doc


def test_half_rule_and_simc_give_skogestad_s_worked_examples():
    # Skogestad 2003, Table 4 (from memory, recomputed): PI for lags behind one kept lag, closed-loop time = dead time.
    for dead_s, lags_s, kc, ti_s in (
        (0.0, (1.0, 0.2), 5.5, 0.8), (0.0, (1.0, 1.0, 1.0, 1.0), 0.3, 1.5), (1.0, (20.0, 2.0), 5.25, 16.0),
        (1.0, (1.0, 1.0), 0.5, 1.5),
    ):
        theta_s, tau_s = half_rule(dead_s, lags_s, 1)
        assert abs(tau_s / (2.0 * theta_s) - kc) <= 1e-5
        assert abs(min(tau_s, 8.0 * theta_s) - ti_s) <= 1e-5


def test_simc_for_an_integrator_gives_skogestad_s_worked_example():
    # 1/(s (s+1)^2): PI 0.333, 12; series PID 1, 4, 1.5 (Skogestad 2003, Table 4, from memory, recomputed).
    theta_s, _ = half_rule(0.0, (1.0, 1.0), 0)
    kp, ti_s, td_s = simc_integrating(1.0, 2.0 * theta_s)
    assert abs(kp - 1.0 / 3.0) <= 1e-5
    assert (ti_s, td_s) == (12.0, 0.0)
    theta_s, second_s = half_rule(0.0, (1.0, 1.0), 1)
    kp, ti_s, td_s = simc_integrating(1.0, 2.0 * theta_s, second_s)
    # series to ISA: f = 1 + 1.5 / 4
    assert abs(kp - 1.375) <= 1e-5
    assert abs(ti_s - 5.5) <= 1e-5
    assert abs(td_s - 1.5 / 1.375) <= 1e-5


def test_strong_slow_heaters_get_a_derivative_and_weak_ones_do_not():
    (_, _, td_s), closed_s = water_rule(1000.0 / 3344.0, 2.0, 120.0, 15.0)
    assert td_s > 60.0
    assert closed_s < 2.0 * (2.0 + 60.0 + 15.0)
    assert water_rule(60.0 / 6270.0, 2.0, 40.0, 15.0)[0][2] == 0.0


def test_bowl_rule_is_simc_for_a_bowl_a_fifth_full():
    # tau 1000 s, theta 100 s: 0.4 * 1000 / (2 * 100) = 2; ti the time constant. Short dead times meet the cap of 6.
    assert bowl_rule(1000.0, 100.0) == (2.0, 1000.0)
    assert bowl_rule(1000.0, 10.0)[0] == 6.0


def test_the_bowl_gets_a_derivative_for_the_lags_of_wall_and_probe_unless_its_gain_is_given():
    # 30 s for a wall and the chocolate next to it, 15 s for a probe in its sleeve: what SIMC's derivative cancels.
    assert safe_gains(values()).bowl_td_s == 45.0
    assert safe_gains(values(gains__bowl__kp=3.0)).bowl_td_s == 0.0
    assert safe_gains(values(gains__bowl__td_s=20.0)).bowl_td_s == 20.0


def test_gains_given_are_taken_and_zeros_worked_out():
    gains = safe_gains(values(gains__water__kp=0.5, gains__bowl__ti_s=700.0, gains__loss_w_per_k=3.0))
    assert (gains.water_kp, gains.bowl_ti_s, gains.loss_w_per_k) == (0.5, 700.0, 3.0)
    assert gains.water_td_s == 0.0
    for got in (gains.water_ti_s, gains.bowl_kp, gains.bowl_tau_s, gains.water_j_per_k, gains.bowl_w_per_k):
        assert got > 0.0


def test_gains_are_finite_and_positive_on_every_relative():
    for heater_w in (60.0, 1000.0):
        for water_l in (0.8, 6.0):
            for lag_s in (5.0, 120.0):
                gains = safe_gains(values(heater_w=heater_w, water_l=water_l, heater_lag_s=lag_s, chocolate_kg=0.3))
                for got in (gains.water_kp, gains.water_ti_s, gains.bowl_kp, gains.bowl_ti_s, gains.loss_w_per_k):
                    assert 0.0 < got < 1e5
                assert gains.bowl_kp <= 6.0
