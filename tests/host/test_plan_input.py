"""`bain plan`: units as a person types them, and what is refused in words."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from plan_tools import planned, refused, run

from bainwright.core import masses
from bainwright.core.errors import FileError, UseError
from bainwright.core.masses import Shown, parse_clock_min, parse_mass_kg, parse_share, parse_temp_c
from bainwright.files.chocolate import CAPS, load_profile

# -- scales ----------------------------------------------------------------------------------------------------------


def test_a_difference_in_fahrenheit_has_no_32():
    """Definition: 1 K is 1.8 °F; 31.5 °C is 88.7 °F."""
    assert Shown(fahrenheit=True).difference(1.0) == "1.8 °F"
    assert Shown().difference(1.0) == "1.0 °C"
    assert Shown(fahrenheit=True).temp(31.5) == "88.7 °F"


@pytest.mark.parametrize(
    ("typed", "mass_kg"),
    [
        ("1.8kg", 1.8),
        ("800 g", 0.8),
        ("3lb", 1.36077711),
        ("1lb 8oz", 0.680388555),
        ("12 OZ", 0.3401942775),
        ("1,5kg", 1.5),
    ],
)
def test_masses_are_read_in_four_units(typed, mass_kg):
    """Avoirdupois pound 0.45359237 kg, ounce a sixteenth of it: exact by definition."""
    assert parse_mass_kg(typed, "--total", 0.01, 100.0) == pytest.approx(mass_kg, rel=1e-12)


@given(st.floats(0.001, 90.0))
def test_a_mass_shown_in_pounds_is_read_back(mass_kg):
    """To the tenth of an ounce shown."""
    back_kg = parse_mass_kg(Shown(pounds=True).mass(mass_kg), "--total", 0.0, 100.0)
    assert back_kg == pytest.approx(mass_kg, abs=0.051 * masses.OUNCE_KG)


@pytest.mark.parametrize(("typed", "temp_c"), [("31.5", 31.5), ("31.5C", 31.5), ("88.7 °F", 31.5), ("90f", 32.2222)])
def test_temperatures_are_read_on_both_scales(typed, temp_c):
    """A bare number is °C; an F makes it °F."""
    assert parse_temp_c(typed, "--to", 20.0, 45.0) == pytest.approx(temp_c, abs=1e-4)


def test_an_altitude_is_read_in_metres_and_feet():
    """1 ft is 0.3048 m by definition."""
    assert [masses.parse_metres(typed, "x") for typed in ("520", " 520 m", "-20")] == [520.0, 520.0, -20.0]
    assert masses.parse_metres("1700ft", "x") == pytest.approx(518.16)


def test_plan_typed_in_fahrenheit_is_the_plan_typed_in_celsius():
    """118.4 °F is 48 °C, 68 °F is 20 °C."""
    assert planned(melt="118.4F", room="68F").seed == planned(melt="48", room="20").seed


# -- bad input -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--total", "-2kg"], "--total: got -2kg, wanted 50 g to 100.00 kg; a mass is above 0"),
        (["--total", "900kg"], "--total: got 900kg, wanted 50 g to 100.00 kg; check the unit"),
        (["--total", "2200"], "did you mean 2200g?"),
        (["--total", "much"], "wanted a mass with its unit"),
        (["--total", "nan kg"], "wanted a mass with its unit"),
        (["--total", "2kg", "--melt", "118"], "that looks like °F, 47.8 °C: --melt 118F"),
        (["--total", "2kg", "--room", "68"], "that looks like °F, 20.0 °C: --room 68F"),
        (["--total", "2kg", "--to", "34"], "wanted 31 to 33.7 °C, because the seed melts out above"),
        (["--total", "2kg", "--to", "36"], "because the seed melts out above"),
        (["--total", "2kg", "--to", "28"], "because a colder bowl is too thick to work"),
        (["--total", "2kg", "--seed-temp", "50"], "the seed is not colder than the melt"),
        (["--total", "2kg", "--melt", "36"], "at least 36.3 °C, where the last old"),
        (["--total", "2kg", "--melt", "58"], "at most 55 °C, the limit of dark"),
        (["--total", "2kg", "--altitude", "9000"], "wanted -430 to 5500 m"),
        (["--total", "2kg", "--refill", "2.5kg", "--refill-temp", "32"], "as much as the bowl holds"),
        (
            ["--total", "2kg", "--refill", "1kg", "--refill-temp", "32", "--in-bowl", "1.5kg"],
            "more than the bowl holds",
        ),
        (
            ["--total", "2kg", "--refill", "200g", "--refill-temp", "32", "--in-bowl", "10kg"],
            "--in-bowl: got 10.00 kg, wanted at most 2.00 kg",
        ),
        (["--total", "2kg", "--pot-width", "12"], "--pot-width: got 12, wanted at least the bowl's 24 cm"),
        (["--pieces", "140", "--coating", "4kg"], "wanted 0.1 g to 1.00 kg"),
        (["--total", "2kg", "--refill", "1kg"], "how warm is the refill?"),
        (["--total", "2kg", "--in-bowl", "1kg"], "belong to --refill"),
        (["--total", "2kg", "--seed-factor", "nan"], "--seed-factor: got 'nan', wanted a number"),
        (["--total", "2kg", "--humidity", "0"], "--humidity: got '0', wanted 5 to 99 %"),
        (["--total", "2kg", "--at", "25:00"], "wanted a time of day"),
        (["--total", "2kg", "--at", "18:00", "--dip-at", "20:00"], "give one of them"),
        (["--total", "2kg", "--page", "plan.doc"], "wanted a name ending in"),
        (["--total", "2kg", "--page", "/no/such/folder/plan.png"], "wanted a folder that is there"),
        (["--total", "2kg", "--coating", "5g"], "--coating belongs to --pieces"),
        (["--total", "2kg", "--pieces", "9"], "--total and --pieces both say how much; give one of them"),
        (["--total", "0"], "g, kg, oz or lb; for instance"),
        (["--total", "2kg", "--altitude", "30000ft"], "got 9144 m, wanted -430 to 5500 m"),
        (["--total", "2kg", "--altitude", "high"], "wanted metres, or feet with ft"),
        (["--total", "2kg", "--room", "34"], "keep the seed in a cooler place (--seed-temp)"),
        ([], "how much chocolate?"),
        (["--pieces", "100", "--coating", "33%"], "needs the centre's mass"),
        (["--pieces", "1", "--coating", "5g"], "check the number of pieces"),
    ],
)
def test_bad_input_is_refused_in_words(options, words):
    """Exit 2; what, got, wanted, next; nothing is worked out."""
    assert words in refused("dark", *options)


@pytest.mark.parametrize(("options", "words"), [
    (["--total", "12kg"], "15 refills of 665 g, 10.00 kg in all, follow, in temper."),  # 10 kg over a third of 2 kg
    (["--total", "2.3kg"], "A refill of 300 g follows, in temper."),
    (["--pieces", "140", "--coating", "4g"], "nothing is added for the last of the bowl, too little to dip from"),
    (["--total", "1.8kg", "--for", "30h"], "30 h in temper is long"),
    (["--total", "1.8kg", "--pot-width", "40cm", "--cover", "0%"], "Cover the water round the bowl (--cover 90%)"),
    (["--total", "1.8kg", "--pot-width", "40cm"], "reach only 2 cm up the bowl"),  # 2 L over 1257 - 452 cm2: 2.5 cm
    (["--total", "1.8kg", "--seed", "20%", "--seed-temp", "31"], "seed this warm is half melted: cool it to 18.0"),
    (["--total", "1.8kg", "--seed", "20%", "--seed-temp", "31"], "Your seed is too warm"),
])  # fmt: skip
def test_the_short_plan_says_what_a_cook_would_otherwise_miss(options, words):
    assert words in " ".join(run("dark", *options)[1].split())


def test_half_melted_seed_is_never_to_be_more():
    """More of it would not cool the melt; colder seed does."""
    for amount in ("10%", "20%", "40%"):
        said = run("dark", "--total", "1.8kg", "--seed", amount, "--seed-temp", "31", "--all")[1]
        assert not re.search(r"Take more|seed more|too little|asks for", " ".join(said.split()))


def test_the_range_of_where_seeding_ends_is_one_range():
    """Form V melts out at 33.8 °C (Wille & Lutton 1966), before the ceiling of dark."""
    for end in ("27.5", "34"):
        assert "wanted 31 to 33.7 °C" in refused("dark", "--total", "1.8kg", "--to", end)
    assert run("dark", "--total", "1.8kg", "--to", "33.7")[0] == 0


def test_a_cupful_in_a_heavy_bowl_is_refused_in_words(tmp_path):
    """3 kg of bowl at 48 °C hold more heat than 0.3 kg of seed can take; wrapped by no loss in a room at 30 °C."""
    heavy = tmp_path / "heavy.toml"
    heavy.write_text(
        'name = "heavy"\nheater_w = 150\nswitch = "dc"\nperiod_s = 1\nwater_l = 2\nbowl_kg = 3\nchocolate_kg = 2\n'
        'hard_limit_c = 60\n[probe.water]\nkind = "onewire"\n'
    )
    said = refused("dark", "--total", "300g", "--rig", str(heavy), "--room", "30", "--seed-temp", "25")
    assert "there would be more seed than melt" in said


def test_melted_stock_refuses_what_only_a_temper_has():
    """No melt, no seed, no refill to be judged."""
    assert "not seeded" in refused("melted", "--total", "2kg", "--melt", "45")
    assert "no window that a refill could spoil" in refused(
        "melted", "--total", "2kg", "--refill", "1kg", "--refill-temp", "40"
    )


def test_an_unknown_chocolate_and_an_unknown_kind_are_refused(tmp_path):
    """The name is looked up, the kind checked."""
    assert "did you mean dark?" in refused("darkk", "--total", "2kg")
    odd = tmp_path / "odd.toml"
    odd.write_text('name = "odd"\nkind = "carob"\n[work]\nlow_c = 31\nhigh_c = 32\n')
    with pytest.raises(FileError, match="kind"):
        run(str(odd), "--total", "2kg")


def test_a_chocolate_that_names_no_melt_takes_its_kinds(tmp_path):
    """Common practice, no source: dark 45-50, others 40-45 °C, never over what the file allows."""
    own = tmp_path / "own.toml"
    own.write_text('name = "own"\nkind = "ruby"\nnever_above_c = 39\n[work]\nlow_c = 28.5\nhigh_c = 29\n')
    assert planned(str(own)).request.melt_c == 39.0


def test_what_lowers_a_window_lowers_its_ceiling_and_where_it_is_cooled_to(tmp_path):
    """Nut paste lowers it by 1 to 2 °C (common practice, no source): 30.5 for 32, so 33.0 for 34.5, 26.5 for 28 °C."""
    own = tmp_path / "nut.toml"
    own.write_text('name = "nut"\nkind = "dark"\n[work]\nlow_c = 29.5\nhigh_c = 30.5\n')
    made = load_profile(str(own))
    assert (made.ceiling_c, made.cool_low_c, made.cool_high_c) == (33.0, 25.5, 26.5)
    for name in ("dark", "milk", "white", "ruby"):
        usual = load_profile(name)
        assert usual.ceiling_c == CAPS[usual.kind].ceiling_c, name


@pytest.mark.parametrize("typed", ["7pm", "24:00", "12:60", "-1:00", ""])
def test_no_time_of_day_is_refused(typed):
    """A day has 24 hours of 60 minutes."""
    with pytest.raises(UseError, match="time of day"):
        parse_clock_min(typed, "--at")


def test_a_share_of_one_is_not_taken_for_a_percentage():
    assert parse_share("0.7%", "--waste", 0.0, 0.5) == pytest.approx(0.007)
    with pytest.raises(UseError, match=r"70%, or 0.7%\?"):
        parse_share("0.7", "--cover", 0.0, 1.0)
    assert parse_share("1", "--cover", 0.0, 1.0) == 0.01


def test_a_share_reads_with_and_without_its_sign():
    """50 and 50 % are one."""
    assert parse_share("50", "--humidity", 0.05, 0.99) == parse_share("50 %", "--humidity", 0.05, 0.99) == 0.5


@pytest.mark.parametrize(
    ("name", "filled", "most_c"), [("milk", "80", 49.0), ("dark", "51.2", 51.0), ("melted", "60", 44.8)]
)
def test_a_bath_filled_warmer_than_the_melt_s_own_is_refused(name, filled, most_c):
    """A bowl stands in it from the first minute, and milk chocolate grains from 50 °C (Coady), whatever the heater
    does."""
    said = refused(name, "--total", "1.2kg", "--water-temp", filled)
    assert f"--water-temp: got {float(filled):.1f} °C, wanted at most {most_c:.1f} °C" in said
    assert planned("milk", total="1.2kg", water_temp="49").request.water_c == 49.0


def test_a_refusal_speaks_in_the_scales_of_the_plan_and_of_its_cause():
    """32.2 °C is 90 °F, 31 °C is 87.8 °F; 54 % of 4 lb, and no rounding of it, is asked for at 84 °F."""
    scales = ("--fahrenheit", "--pounds")
    said = refused("milk", "--total", "4lb", "--room", "90F", *scales)
    assert "the room is too warm for seed: got seed at 90.0 °F, wanted colder than 87.8 °F" in said
    said = refused("milk", "--total", "3lb", "--room", "84F", *scales)
    assert "of 3 lb, wanted under 50 %" in said
    assert "°C" not in refused("dark", "--total", "4lb", "--melt", "140F", *scales)
    assert masses.on_scales("got 31.0 °C, wanted 5 to 40 °C of 450 g", Shown(True, True)) == (
        "got 87.8 °F, wanted 41.0 to 104.0 °F of 15.9 oz")
    assert masses.on_scales("got 31.0 °C of 0.45 kg", Shown()) == "got 31.0 °C of 0.45 kg"


def test_seed_without_a_unit_may_be_meant_as_a_share():
    said = refused("dark", "--total", "1kg", "--seed", "0.2")
    assert "a mass with its unit, or a percentage; like 400g or 20%" in said
