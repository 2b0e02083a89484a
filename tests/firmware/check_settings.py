"""Settings and profiles: one document, checked whole, or refused with what, got and wanted."""

from bainboard import help_text, settings


def refused(doc, table=settings.SETTINGS):
    """The reason a document is refused for; fails if it is not, or if the reason is too long for a line."""
    values, why = settings.check(table, doc)
    assert values is None, doc
    assert why, doc
    assert len(why) < 190, why
    return why


def test_an_empty_document_gives_every_default_and_every_default_is_allowed():
    for table in (settings.SETTINGS, settings.PROFILE):
        values, why = settings.check(table, {})
        assert why is None
        assert values == settings.defaults(table)
        assert settings.check(table, values) == (values, None)
    assert settings.check_profile({}) == (settings.defaults(settings.PROFILE), None)


def test_every_row_has_its_words_and_nothing_else_has():
    for table, words in ((settings.SETTINGS, help_text.SETTINGS), (settings.PROFILE, help_text.PROFILE)):
        assert sorted(words) == sorted([row[settings.NAME] for row in table])


def test_every_row_is_one_of_the_kinds_with_bounds_that_hold_its_default():
    for row in settings.SETTINGS + settings.PROFILE:
        assert len(row) == 6, row
        kind, low, high = row[settings.KIND], row[settings.LOW], row[settings.HIGH]
        assert kind in (settings.FLOAT, settings.INT, settings.CHOICE, settings.TEXT, settings.FLAG), row
        if kind in (settings.FLOAT, settings.INT):
            assert low <= row[settings.DEFAULT] <= high, row
    names = [row[settings.NAME] for row in settings.SETTINGS]
    assert len(set(names)) == len(names)


def test_every_number_is_taken_at_its_bounds_and_refused_beyond_them():
    for row in settings.SETTINGS + settings.PROFILE:
        table = settings.SETTINGS if row in settings.SETTINGS else settings.PROFILE
        if row[settings.KIND] not in (settings.FLOAT, settings.INT):
            continue
        name, low, high = row[settings.NAME], row[settings.LOW], row[settings.HIGH]
        for value in (low, high):
            why = settings.check(table, {name: value})[1]
            # Some bounds do not go with the other defaults: 2 kW on 2 L, much chocolate on little water, long patience.
            assert why is None or "could" in why or "another warmer" in why, (name, why)
            alone = name in ("heater_w", "water_l", "chocolate_kg", "bowl_kg", "trip.over_stage_s")
            assert why is None or alone or name in ("gains.water_j_per_k", "gains.loss_w_per_k"), name
        for value in (low - 1, high + 1, -high - 1):
            assert name in refused({name: value}, table)


def test_figures_that_together_would_let_the_water_too_far_are_refused_with_the_figure():
    """9.5 K of the account, and 2 s of 2000 W into 4180 J/K (half of 2 L): 10.5 K; into half of 0.5 L: 13.3 K."""
    assert settings.check(settings.SETTINGS, {"heater_w": 2000.0})[1] is None
    why = settings.check(settings.SETTINGS, {"heater_w": 2000.0, "water_l": 0.5})[1]
    assert "13 °C over its limit" in why, why
    # A self-test's pulses: 20 kg x 1670 + 0.6 kg x 900 + 8360 J/K over 4180 J/K: 10.1 K; on half the water 19.3 K.
    assert settings.check(settings.SETTINGS, {"chocolate_kg": 20.0})[1] is None
    why = settings.check(settings.SETTINGS, {"chocolate_kg": 20.0, "water_l": 1.0})[1]
    assert "18 °C in a self-test" in why, why
    # A shorted switch for 600 s and a lag of 30 s: 150 W x 630 s over 4180 J/K is 22.6 K, and 60 W give 9.0 K.
    why = settings.check(settings.SETTINGS, {"trip.over_stage_s": 600.0})[1]
    assert "23 °C over its limit" in why, why
    assert settings.check(settings.SETTINGS, {"trip.over_stage_s": 600.0, "heater_w": 60.0})[1] is None
    assert settings.check(settings.SETTINGS, {"trip.over_stage_s": 60.0, "heater_w": 2000.0})[1] is None


def test_gains_too_small_for_single_precision_are_refused():
    for name in ("gains.water.ti_s", "gains.bowl.ti_s", "gains.bowl_tau_s", "gains.water.kp"):
        assert name in refused({name: 1e-30})
        assert name in refused({name: 1e-5})
        values, why = settings.check(settings.SETTINGS, {name: 1e-300})
        assert why or values[name] == 0.0  # single precision reads it as none
        assert settings.check(settings.SETTINGS, {name: 0.0})[1] is None


def test_gains_of_another_bath_are_refused_with_what_the_stated_litres_allow():
    """2 L: half of its water 4180 J/K, half again of bath and bowl 13,350 J/K; 8 W/K at 1 L, by 2^0.667: 12.7."""
    for name, low, high in (("gains.water_j_per_k", 4200.0, 13300.0), ("gains.loss_w_per_k", 0.1, 12.6)):
        assert settings.check(settings.SETTINGS, {name: low})[1] is None
        assert settings.check(settings.SETTINGS, {name: high})[1] is None
        assert "for 2 L" in refused({name: 1.1 * high})
        assert settings.check(settings.SETTINGS, {name: 1.1 * high, "water_l": 4.0})[1] is None
    assert "for 2 L" in refused({"gains.water_j_per_k": 4000.0})


def test_a_number_far_below_any_real_one_is_none_or_refused_for_every_number():
    for row in settings.SETTINGS:
        if row[settings.KIND] == settings.FLOAT and row[settings.LOW] <= 0.0:
            name = row[settings.NAME]
            for value in (1e-7, -1e-7, 1e-30):
                assert name in refused({name: value})
            values, why = settings.check(settings.SETTINGS, {name: 1e-308})
            assert why or values[name] == 0.0  # single precision reads it as none


def test_a_number_given_whole_comes_out_as_a_float_and_a_whole_number_stays_whole():
    values, _ = settings.check(settings.SETTINGS, {"heater_w": 60, "step_ms": 10})
    assert type(values["heater_w"]) is float
    assert values["heater_w"] == 60.0
    assert type(values["step_ms"]) is int


def test_what_is_no_finite_number_is_refused_for_every_number():
    inf = float("inf")
    for row in settings.SETTINGS:
        if row[settings.KIND] in (settings.FLOAT, settings.INT):
            for value in (inf, -inf, inf - inf, True, False, None, "60", [60], {}, 10**400, -(10**400), 10**5000):
                assert row[settings.NAME] in refused({row[settings.NAME]: value})


def test_a_whole_number_with_a_point_is_refused():
    assert "whole number" in refused({"step_ms": 10.0})


def test_words_flags_and_texts_of_the_wrong_kind_are_refused():
    for value in (1, 0, None, "true", 1.0, []):
        assert "true or false" in refused({"guard": value})
    for value in ("DC", "", None, 1, True, ["dc"], {}):
        assert "wanted one of zero_cross, dc" in refused({"switch": value})
    for value in ("", "x" * 33, None, 7, ["x"], "x" * 5000):
        assert "1 to 32 letters" in refused({"name": value})


def test_a_text_no_display_or_line_can_show_is_refused():
    for value in ("Gro\u00df", "a\x03b", "a\nb", "a\x00", "\x7f", 'the "pot"', "back\\slash", "\u200b", "\U0001f36b"):
        assert "plain letters" in refused({"name": value}), value
    for value in ("Anna's pot, no. 2 ~ {*}", "x", "x" * 32):
        assert settings.check(settings.SETTINGS, {"name": value})[1] is None
        assert settings.check_profile({"name": value})[1] is None


def test_a_probe_id_has_all_its_digits_or_none():
    for value in ("", "28ff641e0216034c", "28FF641E0216034C"):
        assert settings.check(settings.SETTINGS, {"probe.water.rom": value})[1] is None
    for value in ("28ff", "28ff641e0216034", "28ff641e0216034g", "28ff641e0216034c0", " 28ff641e021603 ", 28, None):
        assert "hex digits" in refused({"probe.water.rom": value})


def test_a_name_not_in_the_table_refuses_the_whole_document():
    for name in ("heater_W", "heater", "", "x" * 999, "\u00e9", 7, None, ("a", "b")):
        assert "no such name" in refused({"heater_w": 60.0, name: 1})


def test_what_is_no_document_is_refused():
    for doc in (None, [], "x", 7, [("heater_w", 60.0)]):
        assert settings.check(settings.SETTINGS, doc)[0] is None


def test_a_temperature_that_is_likely_in_fahrenheit_is_refused_and_says_so():
    """88 °F is 31 °C: 82 to 122 °F are the 28 to 50 °C a bowl may be asked for."""
    for value in (82, 88.0, 122):
        for name in ("low_c", "target_c", "high_c", "ceiling_c"):
            why = refused({name: value}, settings.PROFILE)
            assert "°C" in why
            assert "looks like °F" in why
    assert "°F" in refused({"hard_limit_c": 122})
    assert "°F" not in refused({"target_c": 130}, settings.PROFILE)
    assert "°F" not in refused({"heater_lag_s": 0.5})


def test_a_profile_s_figures_are_held_against_each_other():
    for doc, name in (
        ({"low_c": 31.6}, "target_c"), ({"high_c": 31.4}, "target_c"), ({"target_c": 33.0}, "target_c"),
        ({"ceiling_c": 32.0}, "ceiling_c"), ({"ceiling_c": 31.9}, "ceiling_c"), ({"never_above_c": 34.0}, "ceiling_c"),
    ):
        values, why = settings.check_profile(doc)
        assert values is None, doc
        assert why.startswith(name), (doc, why)


def test_a_profile_may_stand_on_its_edges():
    for doc in (
        {"low_c": 31.5}, {"high_c": 31.5}, {"low_c": 31.5, "high_c": 31.5},
        {"never_above_c": 34.5, "melt_c": 34.0, "keep_c": 34.0},
        {"ceiling_c": 32.0625},
    ):
        assert settings.check_profile(doc)[1] is None, doc


def test_a_profile_of_which_one_figure_is_wrong_is_refused():
    assert settings.check_profile({"target_c": 99.0})[0] is None
    assert settings.check_profile([])[0] is None


def test_what_the_supervisor_leans_on_is_as_the_safety_page_has_it():
    """Defaults and bounds are chosen; the watchdog's upper bound is under the 8388 ms of rp2."""
    rows = {row[settings.NAME]: row[settings.DEFAULT : settings.HIGH + 1] for row in settings.SETTINGS}
    assert rows["hard_limit_c"] == (60.0, 40.0, 75.0)
    assert rows["trip.watchdog_ms"] == (4000, 2000, 8000)
    assert rows["trip.bad_samples"] == (3, 2, 10)
    assert rows["trip.jump_c_per_s"] == (5.0, 1.0, 20.0)
    assert rows["trip.run_h"] == (14.0, 0.5, 48.0)
    assert rows["guard"][0] is True


def test_a_value_is_shown_short_and_plain():
    for value, words in (
        (None, "nothing"), (7, "7"), (1.5, "1.5"), (True, "True"), ("warm", "'warm'"),
        ("\u00e9\n", "'??'"), ("~ ", "'~ '"),
        ("x" * 22, "'" + "x" * 22 + "'"), ("x" * 23, "'" + "x" * 23 + "..."), (10**15 - 1, "999999999999999"),
        (10**15, "a number far too large"), (-(10**5000), "a number far too large"),
    ):
        assert settings.shown(value) == words


def test_a_refused_document_changes_nothing_that_was_handed_in():
    doc = {"heater_w": 60.0, "step_ms": 99}
    before = dict(doc)
    refused(doc)
    assert doc == before
    assert settings.defaults(settings.SETTINGS)["heater_w"] == 150.0
