"""The prompts of an evening: the litres, the grams, the advice, and no percentage of seed."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from fake_board import status_line

from bainboard import faults, stages
from bainwright.evening import prompts as tonight_module
from bainwright.evening.indicators import Indicators
from bainwright.evening.prompts import EveningPrompts
from bainwright.evening.starting import melted_note
from bainwright.files.chocolate import load_profile
from bainwright.files.rig import load_rig
from bainwright.link.messages import decode
from bainwright.words import terms


def tonight(name="dark", rig="pot"):
    return EveningPrompts(load_profile(name), load_rig(rig))


def line(t_s=1, **other):
    """A status line as the link gives it."""
    return decode(status_line(t_s, 1000 * t_s, **other)[:-1])


def asks():
    """Every key that a stage can ask."""
    plain = {step[stages.ASK] for row in stages.STAGES for step in row[stages.STEPS]}
    return (plain - {"", "working", "settling"}) | {"lift", "pour", "seed_more", "set_yet", "not_set", "look", "cooled"}


def test_every_question_has_words_with_and_without_a_warmer():
    for ask in asks():
        assert ask in terms.PROMPTS, ask
        assert len(tonight().ask(line(ask=ask))) > 5


def test_every_question_that_lifts_the_bowl_says_to_wipe_it():
    """Water thickens chocolate from 0.5-1 % on (from memory)."""
    for ask in ("bowl_off", "bowl_on", "lift", "spread"):
        assert "wipe the underside dry" in tonight().ask(line(ask=ask, water=35000))
        assert "wipe the underside dry" in terms.PROMPTS[ask]


@pytest.mark.parametrize(("milli", "words"), [
    (None, "add the seed"), (45000, "add the seed"), (32063, "add the seed"), (32000, "no more seed. Stir until"),
    (31000, "no more seed. Stir until"),
    (30900, "at the low end of its window: no more seed. Yes, then set it back: the bath warms it up"),
    (29500, "1.5 °C below its window: no more seed. Yes, then set it back"), (28900, "so test the temper well"),
    (24900, "start again from melt"),
])  # fmt: skip
def test_seed_is_asked_for_until_the_bowl_is_down_in_its_window(milli, words):
    """Dark: 31 to 32 °C; a bowl forgotten on the table is not given more seed, and one that set is melted again."""
    said = tonight().ask(line(ask="seed_in", bowl=milli))
    assert words in said
    assert (milli is None or f"{milli / 1000:.1f}" in said) or "add the seed" in said


def test_pour_is_not_said_of_a_bowl_too_cold_for_a_refill():
    """One sentence does not ask for what the next forbids."""
    said = tonight()
    said.see(line(ask="pour", bowl=30000))
    assert said.ask(line(ask="pour", bowl=30000)) == (
        "the bath is ready. The bowl is too cold for a refill: wait until it reads 31 °C")


def test_the_swap_takes_out_what_mixing_asks_for():
    """Mixing: 2 L and a pot of steel at 54 °C with 15 °C water to 32.7 °C; without the pot 1.09 L would do."""
    said = tonight().swap(tonight_module.Moment(54.0, 48.0, 32.7))
    litres = float(re.search(r"take out ([\d.]+) L", said)[1])
    assert 2.0 * (54.0 - 32.7) / (54.0 - 15.0) < litres < 1.15 * 2.0 * (54.0 - 32.7) / (54.0 - 15.0)


def test_a_bath_that_is_cool_enough_is_not_swapped():
    """Said for a bowl melted elsewhere beside a cold bath, whose self-test still runs."""
    said = tonight().ask(line(ask="swap", water=20000, water_target=32700))
    assert "cool enough for the bowl" in said
    assert " L " not in said


def test_a_plate_has_nothing_to_swap():
    assert "cannot be cooled" in tonight(rig="plate").ask(line(ask="swap", water=54000))


def test_the_largest_refill_is_the_balance_s():
    """m <= M (Tmax - Tb)/(Tr - Tmax): at 31.5 °C to 32 °C with 40 °C melt 1/16 of the bowl (computed), 62.5 g."""
    t = tonight()
    t.see(line())
    assert "at most 60 g at 40 °C" in t.refill()
    assert t.event("announced", {}) == [t.refill()]


def test_a_bowl_that_warms_with_the_heat_off_is_lifted_or_cooled_by_water_worked_out():
    """Swapping: of 2 L and their pot at 39.2 °C the share 6.5/24.2 for 15 °C water brings it near the hold's 32.7 °C.

    The controller aims lower for as long as the bowl is too warm; no more is poured in for that, and none over the rim.
    """
    for aim_c in (24.6, 31.0):
        said = tonight().lift(tonight_module.Moment(39.2, 32.4, aim_c))
        out_l, in_l = (float(each) for each in re.findall(r"([\d.]+) L", said))
        assert 0.5 <= out_l == in_l <= 0.75
    assert "take out" not in tonight().lift(tonight_module.Moment(33.0, 32.4, 24.6))


def heard(t, *bowls_c, **other):
    """What is said while a bowl reads each of these for two minutes."""
    readings = [round(1000 * bowl_c) for bowl_c in bowls_c for _ in range(120)]
    return [text for n, bowl in enumerate(readings, 1) for text in t.see(line(n, bowl=bowl, **other))]


@pytest.mark.parametrize(("bowls_c", "words"), [
    ([22.0, 22.0], ["it read 22.0 °C and has set"]),
    ([28.0, 30.0, 28.5], ["it was under 29 °C, where crystals form", "it was under 29 °C, where crystals form"]),
    ([29.5], []),  # cool, and no crystals of the wrong kind (Greweling 2007: dark, below 29 °C)
    ([58.0], ["the chocolate was over 55 °C, its limit"]),
    ([35.0], ["over 34.5 °C: assume"]),
    ([45.0], ["it was over 36.3 °C, where no crystal is left: it is a melt, so stop and seed it"]),
])
def test_a_bowl_beyond_a_limit_for_a_minute_is_said_once(bowls_c, words):
    said = heard(tonight(), *bowls_c)
    assert [text.startswith(word) for text, word in zip(said, words, strict=True)] == [True] * len(words)


def test_a_bath_that_does_not_cool_without_heat_is_in_a_room_as_warm():
    """Twenty minutes at 34 °C and no heat: in a room of 20 °C a covered pot of 2 L falls by a degree or more."""
    warm, cool = tonight(), tonight()
    for minute in range(22):
        warm.see(line(1 + 60 * minute, water=34000, bowl=32400, duty=0, ask="lift"))
        cool.see(line(1 + 60 * minute, water=34000 - 50 * minute, bowl=32400, duty=0, ask="lift"))
    ask = line(1321, water=33950, bowl=32400, duty=0, ask="lift")
    assert "cool the room" in warm.ask(ask)
    assert "cool the room" not in cool.ask(line(1321, water=32900, bowl=32400, duty=0, ask="lift"))
    for minute in range(22, 44):  # hot water was poured in: the bath falls from there, and the room is not to blame
        warm.see(line(1 + 60 * minute, water=43000 - 200 * (minute - 22), bowl=34000, duty=0, ask="lift"))
        assert "cool the room" not in warm.ask(line(2 + 60 * minute, water=40000, bowl=34000, duty=0, ask="lift"))


def test_a_bowl_in_temper_that_is_set_into_cold_water_is_said_at_once():
    t = tonight()
    (said,) = t.see(line(1, bowl=31800, water=18000, stage="work"))
    assert said == "the water is at 18 °C, too cold for a bowl in temper: lift the bowl out until it is at 31 °C"
    assert t.see(line(2, bowl=31700, water=18100, stage="work")) == []
    (said,) = t.see(line(600, bowl=30900, water=31050, stage="work"))
    assert "set it back" in said
    assert tonight().see(line(1, bowl=22000, water=18000, stage="work")) == []  # it has set before


def test_a_test_answered_in_ten_seconds_settles_nothing():
    """Nothing sets in ten seconds; in half a minute a thin film may."""
    t = tonight()
    t.event("tested", {"verdict": "good", "took_s": 10})
    assert t.limits.caution.startswith("tested too soon")
    t.event("tested", {"verdict": "good", "took_s": 240})
    heard(t, 32.5)
    t.event("tested", {"verdict": "good", "took_s": 10})
    assert t.limits.caution.startswith("above its window")
    assert "answered too soon" in terms.event("tested", {"verdict": "good", "took_s": 10})
    t.event("tested", {"verdict": "good", "took_s": 240})
    assert not t.limits.caution


def test_seeding_near_the_low_end_does_not_flip_with_the_noise():
    t = tonight()
    said = {t.seed_in(tonight_module.Moment(40.0, bowl_c, 33.0)).split(":", 1)[1]
            for bowl_c in (30.95, 31.05, 30.9, 31.2)}
    assert said == {" no more seed. Yes, then set it back: the bath warms it up"}
    assert "until the pieces are gone" in t.seed_in(tonight_module.Moment(40.0, 31.4, 33.0))


def test_the_bowl_is_seeded_while_the_bath_is_swapped():
    t = tonight()
    t.see(line(stage="seed", ask="swap", water=48000))
    assert "Seed the bowl meanwhile, down to 32 °C" in t.swap(tonight_module.Moment(48.0, 45.0, 32.7))
    down = t.swap(tonight_module.Moment(48.0, 30.2, 32.7))
    assert "The bowl reads 30.2 °C, colder than it should be: no more seed" in down
    assert "has set" in t.swap(tonight_module.Moment(48.0, 24.6, 32.7))
    assert "Seed the bowl" not in down


def test_a_bowl_that_cools_beside_its_bath_is_called_for_before_it_is_too_cold():
    """Dark is cooled to 27 to 28 °C (common practice); somebody who stirs alone has not swapped the bath yet."""
    t = EveningPrompts(load_profile("dark").tempered_by("cool"), load_rig("mat24"))
    said = {}
    for number in range(331, 239, -1):  # 33.0 down to 24.0 °C
        status = line(400 - number, stage="cool", ask="swap", water=39000, bowl=100 * number)
        for text in t.see(status):
            if text.startswith("The bowl reads"):
                said[number / 10] = text
        now = t.ask(status)
        assert ("to 27 to 28 °C" in now) is (number > 280), number
        assert ("out of the cold basin now" in now) is (250 <= number <= 280), number
        assert ("has set" in now) is (number < 250), number
    assert list(said) == [28.0, 26.9, 24.9]
    assert "has set" in said[24.9]
    assert "colder than it should be: out of the cold basin now" in said[26.9]
    assert "cold enough: out of the cold basin now" in said[28.0]


@pytest.mark.parametrize(("stage", "ask"), [
    ("cool", "swap"), ("cool", "cool_down"), ("seed", "swap"), ("seed", "seed_in"),
])
def test_a_bowl_that_warms_up_while_it_should_cool_is_lifted_off_the_bath(stage, ask):
    """Set back on a bath of 40 °C too early: from 26.9 to 33.0 °C its crystals melt. Then it is lifted again."""
    t = EveningPrompts(load_profile("dark").tempered_by("cool" if stage == "cool" else "seed"), load_rig("pot"))
    heard, told, now = [], {}, {}
    for t_s, number in enumerate([*range(330, 268, -1), *range(269, 331), *range(330, 279, -1)]):
        status = line(t_s + 1, stage=stage, ask=ask, water=40000, bowl=100 * number)
        heard += [(t_s, text) for text in t.see(status)]
        now[t_s] = t.ask(status)
        told[t_s] = "warmer than it was: lift it off the bath" in now[t_s]
    assert [text for _, text in heard if "warmer than" in text] == [
        "the bowl reads 27.9 °C, 1.0 °C warmer than it was: lift it off the bath, it cools on the table only"]
    assert [t_s for t_s, so in told.items() if so] == list(range(62 + 10, 62 + 62 + 4))
    assert "the bowl reads 33.0 °C, 6.1 °C warmer than it was" in now[62 + 61]  # what it reads now, not when it began
    again = [text for t_s, text in heard if t_s > 124 and "cold enough" in text]
    assert len(again) == (ask == "swap")


@pytest.mark.parametrize("ask", ["cool_down", "seed_in", "swap"])
def test_a_bowl_that_was_said_to_be_back_too_early_is_lifted_again(ask):
    """Over a bath of 33 °C it comes down to 31.5 and no further."""
    t, stage = tonight(), "seed" if ask == "seed_in" else "cool"
    t.event("stage", {"stage": stage})
    early = line(stage=stage, ask=ask, water=33000, bowl=32500)
    t.event("bowl_off", {})
    assert "is on its bath" not in t.ask(early)
    t.event("bowl_on", {})
    assert t.ask(early).startswith("the bowl is on its bath of 33 °C: lift it off (b)")
    t.event("bowl_off", {})
    assert "is on its bath" not in t.ask(early)


def test_a_bowl_that_is_set_back_may_warm_up():
    """The bath is ready for it."""
    t = tonight()
    for t_s, number in enumerate(range(269, 331)):
        status = line(t_s + 1, stage="cool", ask="bowl_on", water=33000, bowl=100 * number)
        assert not [text for text in t.see(status) if "warmer than it was" in text]
        assert "warmer than it was" not in t.ask(status)


def test_a_bowl_cooled_without_seed_is_asked_for_none():
    too_warm = line(stage="settle", ask="seed_more", bowl=33000)
    cooled = EveningPrompts(load_profile("dark").tempered_by("cool"), load_rig("pot"))
    assert cooled.ask(too_warm) == "still over 32 °C: lift the bowl off the bath and stir it cool"
    assert "a handful of seed" in tonight().ask(too_warm)


@pytest.mark.parametrize("stage", ["settle", "test", "work"])
def test_a_bowl_that_has_set_is_said_to_be_so_in_each_step_with_a_temper(stage):
    """Set back after three hours on the table: no bath that keeps a temper melts it, and warmed up it is still set."""
    t = tonight()
    said = heard(t, 21.0, 23.0, 25.5, 27.0, 28.5, 29.5, 30.5, stage=stage)
    assert [text for text in said if "has set" in text] == [t.limits.hardened]
    assert t.limits.hardened == "it read 21.0 °C and has set: stop (Ctrl-C), and start again from melt"
    if stage == "settle":
        assert t.ask(line(stage="settle", ask="stir", bowl=30500)) == t.limits.hardened


def test_a_probe_that_was_out_of_the_bowl_is_no_bowl_that_has_set():
    t = tonight()
    heard(t, 22.0, 31.5, stage="settle")
    assert t.limits.hardened == ""
    heard(t, 22.0, stage="settle")
    assert t.limits.hardened
    t.event("tested", {"verdict": "good", "took_s": 200})
    assert t.limits.hardened == ""


def test_a_bowl_that_set_on_the_table_is_not_simply_set_back():
    t = tonight()
    t.event("stage", {"stage": "seed"})
    assert "it reads 20.8 °C and has set" in t.ask(line(stage="seed", ask="bowl_on", bowl=20800))
    assert "has set" not in t.ask(line(stage="seed", ask="bowl_on", bowl=30800))


def test_a_bowl_that_is_lifted_or_not_measured_is_not_judged_cold():
    t = tonight()
    t.event("bowl_off", {})
    assert heard(t, 22.0) == []
    assert heard(tonight(), 22.0, est=1) == []


def test_a_bowl_over_its_limit_in_the_melt_is_said_to_be_spoilt_whatever_a_test_says():
    """Milk's limit is 50 °C: casein denatures and grains form (Coady)."""
    t = tonight("milk")
    assert heard(t, 50.3, stage="melt") == [t.limits.spoilt]
    t.event("tested", {"verdict": "good"})
    assert "not fit to temper" in t.limits.spoilt
    t.change(load_profile("dark"))
    assert not t.limits.spoilt


def test_over_its_window_it_is_to_be_tested_and_over_the_ceiling_assumed_lost_each_said_once():
    t = tonight()
    said = [text for n, bowl in enumerate((31500, 32050, 32200, 32300, 31800, 32200, 34500, 34600)) for text in t.see(
        line(n + 1, bowl=bowl))]
    assert [text.split(":")[0] for text in said] == ["above its window", "above its window", "over 34.5 °C"]
    assert "assume the seed is lost until a test passes" in said[-1]


def test_the_bowl_before_is_not_judged_by_the_window_of_the_one_that_comes():
    """31.5 °C is dark's own and over milk's: until the step changes, the bowl is still dark's."""
    t = tonight()
    t.see(line())
    t.change(load_profile("milk"))
    assert t.see(line(2)) == []
    t.see(line(3, stage="change"))
    assert t.indicators.line() == ""  # nor counted for it
    assert "above its window" in t.see(line(4, bowl=31500))[0]


def test_seed_that_will_not_melt_gets_advice_with_how_far_the_bowl_may_be_warmed():
    t = tonight()
    t.event("stage", {"stage": "seed"})
    advice = t.event("denied", {})[0]
    for word in ("chop", "blend", "stir", "34.5 °C"):
        assert word in advice


def test_it_thickens_and_it_thins_get_their_reason_and_the_alternatives():
    """The board moves the target inside the window; the prompt gives the reason and the alternatives."""
    thick, thin = tonight().event("thicker", {})[0], tonight().event("thinner", {})[0]
    assert "warm untempered melt, or melt and temper again" in thick
    assert "test the temper" in thin
    assert "32 °C" in thin


def test_seed_that_is_still_wanted_is_given_in_grams():
    """By hand: 1 kg from 32.7 to 32 °C gives 0.7 x 1670 J; a gram of seed takes 12 x 1.59 J and its share of 46 J."""
    share = tonight_module.HEAT_PROPERTIES["dark"].molten_share(32.0, 20.0)
    grams = 0.7 * 1670.0 / (12.0 * 1.59 + share * 46.0)
    said = tonight().over(tonight_module.Moment(33.0, 32.7, 33.0))
    assert f"about {grams:.0f} g for each kg" in said
    assert "g for" not in tonight().over(tonight_module.Moment(33.0, None, 33.0))


def test_a_stirred_reading_that_moved_says_where_the_probe_belongs():
    t = tonight()
    t.event("stirred", {"shift": -800})
    said = t.ask(line(ask="move_probe"))
    assert "0.8 °C" in said
    assert "2 cm from the wall and 1 cm off the bottom" in said


def test_a_board_that_does_not_say_how_far_the_reading_moved_is_believed_all_the_same():
    t = tonight()
    t.event("stirred", {"shift": None})
    assert t.ask(line(ask="move_probe")).startswith("stirring moved the reading, so it did not read the whole bowl")


def test_melted_stock_gets_words_on_its_kind_its_lid_and_its_water():
    said = melted_note(load_profile("melted"), load_rig("pot"), 9 * 3600.0, 20.0)
    for word in ("treated as milk", "must stay under 50 °C", "put the lid on", "of its 2.0 L in 9 h"):
        assert word in said
    for rig in ("plate", "mat"):  # no water, or none in the open
        assert "loses" not in melted_note(load_profile("melted"), load_rig(rig), 9 * 3600.0, 20.0)
    of_dark = replace(load_profile("melted"), of="dark")  # which tolerates more than the stock's own figure
    assert "treated as dark: never above 50 °C" in melted_note(of_dark, load_rig("pot"), None, 20.0)


# -- indicators --------------------------------------------------------------------------------------------------------


def watched(*bowls):
    """Indicators of a bowl a second each."""
    i = Indicators(tonight().window("work"))
    for n, bowl in enumerate(bowls):
        i.see(line(n + 1, bowl=bowl))
    return i


def test_minutes_peak_and_exposure_are_sums_over_the_readings():
    """By hand: a minute each at 30.5, 31.5 and 33 °C in a window to 32 °C: 1 K·min over."""
    i = watched(*[30500] * 61, *[31500] * 60, *[33000] * 60)
    assert (i.below_s, i.inside_s, i.above_s) == (60.0, 60.0, 60.0)
    assert i.exposure_k_min == pytest.approx(1.0)
    assert i.peak_c == 33.0
    assert i.line() == "no test yet · below 1, in 1, above 1 min · peak 33.0 °C · 1.0 degree-minutes over"


def test_the_last_test_that_proves_something_is_told_with_its_verdict_and_age():
    i = watched(31500)
    i.event("tested", {"verdict": "good", "took_s": 240})
    i.see(line(1201))
    i.event("tested", {"verdict": "late", "took_s": 900})
    assert i.line().startswith("test passed 20 min ago")
    i.event("tested", {"verdict": "failed", "took_s": 600})
    assert i.line().startswith("test failed 0 s ago")
    i.event("tested", {"verdict": "slow", "took_s": 400})
    i.see(line(1321))
    assert i.line().startswith("test slow 2 min ago")


def test_a_verdict_that_is_taken_back_no_longer_counts_and_the_one_before_it_does():
    i = watched(31500)
    i.event("tested", {"verdict": "good"})
    i.see(line(1201))
    i.event("tested", {"verdict": "good"})
    i.event("taken_back", {"undid": "confirm", "ask": "setting", "target": 31500})
    assert i.line().startswith("test passed 20 min ago")
    i.event("tested", {"verdict": "good"})
    i.event("taken_back", {"undid": "rest", "ask": "", "target": 31500})  # another answer
    assert i.line().startswith("test passed 0 s ago")


def test_melting_is_no_exposure_and_a_gap_is_time_not_known():
    i = watched(31500)
    i.see(line(2, stage="melt", bowl=45000))
    i.see(line(1000, bowl=31500))
    i.see(line(2000, bowl=31500))
    assert (i.exposure_k_min, i.peak_c, i.inside_s) == (0.0, 31.5, 5.0)


def test_no_percentage_of_seed_is_given_anywhere():
    said = [tonight().ask(line(ask=ask)) for ask in asks()]
    said += [watched(*[33000] * 100).line(), *terms.PROMPTS.values(), *terms.VERDICTS.values()]
    assert not [text for text in said if re.search(r"\d+ ?% (of the )?seed", text)]


def test_what_cooling_the_bath_brings_about_is_no_alarm_and_elsewhere_it_is():
    """The supervisor rightly warns when water is ladled out; the one who was asked to ladle is not to be frightened."""
    for stage in ("seed", "cool", "change"):
        said = terms.event("warn", {"fault": faults.PROBE_OUT}, stage)
        assert said == "the water cooled at once: that is the cold water you poured in"
        assert "warning" not in terms.event("warn", {"fault": faults.OVER_STAGE})  # it comes before the new step's name
        assert terms.event("trip", {"fault": faults.PROBE_OUT, "latched": True}, stage).startswith("TRIP")
        assert terms.event("warn", {"fault": faults.HEATER_LOST}, stage).startswith("warning")
    topped_up = terms.event("warn", {"fault": faults.PROBE_OUT}, "work")  # or the probe is out: who stands there knows
    assert "cold water" in topped_up
    assert "probe" in topped_up
    assert "heat did not" not in topped_up


def test_a_bowl_that_was_too_warm_is_to_be_tested_until_a_test_passes():
    """Above the window: test before going on; above 34 °C for dark the seed is lost until a test passes (practice)."""
    t = tonight()
    for t_s, bowl in enumerate((31500, 32200, 31500), 1):
        t.see(line(t_s, stage="work", bowl=bowl))
    assert t.limits.caution == "above its window: test the temper before you dip again"
    t.event("tested", {"verdict": "failed"})
    assert "test the temper" in t.limits.caution
    t.event("tested", {"verdict": "good"})
    assert t.limits.caution == ""
    t.event("taken_back", {"undid": "confirm", "ask": "setting"})
    assert "test the temper" in t.limits.caution
    t.see(line(9, stage="work", bowl=34600))
    t.see(line(10, stage="work", bowl=32500))
    assert t.limits.caution == "over 34.5 °C: assume the seed is lost until a test passes"
    t.change(load_profile("milk"))
    assert t.limits.caution == ""


def test_a_bowl_that_is_cool_enough_is_said_to_read_what_it_reads():
    asked = EveningPrompts(load_profile("dark").tempered_by("cool"), load_rig("pot"))
    assert asked.ask(line(ask="cooled", bowl=27060)).startswith("it reads 27.1 °C: does it all through?")
    assert asked.ask(line(ask="cooled", bowl=None)).startswith("it reads 28 °C: does it all through?")


@pytest.mark.parametrize(("bowl", "says"), [(27000, "does it all through"), (26900, "colder than it should be"),
                                            (24900, "has set: stop (Ctrl-C)")])
def test_a_bowl_that_was_cooled_too_far_is_warmed_back_at_once_or_melted_again(bowl, says):
    """Dark is cooled to 27 to 28 °C (common practice, no source); under 25 °C it is firm (chosen)."""
    asked = EveningPrompts(load_profile("dark").tempered_by("cool"), load_rig("pot"))
    assert says in asked.ask(line(ask="cooled", bowl=bowl))


def test_a_bowl_that_waits_for_a_hot_plate_is_seeded_meanwhile():
    """A plate of 400 W comes down by itself in 55 min by the plan; the bowl on the table is at its window before."""
    for stage, seeds in (("seed", True), ("cool", False)):
        t = tonight("milk", "plate")
        t.see(line(1, stage=stage, ask="swap", water=45000, bowl=40000))
        said = t.ask(line(2, stage=stage, ask="swap", water=45000))
        assert ("Seed the bowl meanwhile, down to 31 °C" in said) == seeds


@pytest.mark.parametrize("ask", ["lift", "pour", "seed_more"])
@pytest.mark.parametrize("state", ["pause", "check"])
def test_what_was_asked_before_a_pause_is_not_repeated_after_it(ask, state):
    """The board judges it anew once it holds again; half an hour later the bowl is below its window."""
    assert tonight().ask(line(ask=ask, state=state, bowl=28900)) == ""
    assert tonight().ask(line(ask=ask, bowl=32500)) != ""


def test_a_bath_far_too_hot_for_the_bowl_in_it_is_swapped_and_a_melt_is_to_be_seeded():
    """45 °C over 45 °C, put on for dipping: 36.3 °C melts the last crystals (Wille & Lutton 1966)."""
    t = tonight()
    assert "it was over 36.3 °C, where no crystal is left" in " ".join(heard(t, 45.0, water=45000))
    assert not any("test" in text for text in heard(t, 44.9, water=45000))
    hot = line(bowl=45000, water=45000)
    assert re.search(r"a temper bears 34.5 °C: take out \d\.\d L and put in \d\.\d L at 15 °C", t.ask(hot))
    assert t.ask(line(bowl=31900, water=45000)) == t.ask(line(bowl=33000, water=34400)) == ""
    assert "bowl off until the plate" in tonight(rig="plate").ask(hot)
    t.event("bowl_off", {})
    assert t.ask(hot) == ""


def test_a_bowl_that_comes_down_over_its_window_is_not_said_to_get_warmer():
    """In a room of 31 °C it peaked at 32.5 °C and fell by 0.13 °C in ten minutes, and was asked to be lifted on."""
    def said_at(fall_c_per_min):
        t = tonight()
        for minute in range(10):
            status = line(60 * minute + 1, stage="work", ask="lift", water=33000 - 20 * minute,
                          bowl=32500 - round(1000 * fall_c_per_min * minute))
            t.see(status)
        return t.ask(status)
    assert "comes down" in said_at(0.02)
    assert "comes down" not in said_at(-0.01)


def test_a_lift_that_the_board_asks_for_again_and_again_is_said_once():
    """The view repeats it every ten minutes: it came twice in a quarter of a minute."""
    t, said = tonight(), []
    for t_s in range(1, 1300, 5):
        asks = "lift" if t_s % 60 < 30 else ""
        said += [t_s for text in t.see(line(t_s, stage="work", ask=asks, water=33000, bowl=32500)) if "heat is" in text]
    assert len(said) == 1


def test_a_bowl_that_neither_rises_nor_falls_by_much_is_not_said_to_get_warmer():
    """It fell by 0.02 °C a minute at the edge of what counts as a fall."""
    t = tonight()
    for minute in range(10):
        status = line(60 * minute + 1, stage="work", ask="lift", water=33000, bowl=32500 - 10 * minute)
        t.see(status)
    assert "warmer" not in t.ask(status)
    assert "lift it" in t.ask(status)
