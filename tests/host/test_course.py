"""What a person reads about the course of a hold: news of the window, a window out of reach, the bell, the present."""

from __future__ import annotations

import math

import pytest
from fake_board import status_line

from bainboard import faults
from bainwright.display import scene_words, screen
from bainwright.display.curve import CHOCOLATE, CURVE_S, WATER, curve_rows
from bainwright.display.scene import Scene
from bainwright.display.view import RING_S, Bell
from bainwright.evening.course_news import CourseNews
from bainwright.evening.falling import FAR_MINUTES, Falling, Unwarmed
from bainwright.evening.held_back import HeatWaits, HeldBack
from bainwright.evening.reach import Reach, forecast_c
from bainwright.evening.window_news import WindowNews
from bainwright.files.score import Window
from bainwright.link.protocol import decode

DARK = Window(31.0, 31.5, 32.0, 34.5)


def line(t_s, bowl_c, **fields):
    """A status line."""
    return decode(status_line(1, round(1000 * t_s), bowl=round(1000 * bowl_c), **fields)[:-1])


def news_of(bowls, stage="work"):
    """What is reported of a bowl, a second each, with its second."""
    news = WindowNews()
    said = [(t_s, news.see(line(t_s, bowl_c, stage=stage), DARK)) for t_s, bowl_c in enumerate(bowls, 1)]
    return [(t_s, text) for t_s, text in said if text]


# -- leaving the window and coming back -------------------------------------------------------------------------------


def test_a_noisy_reading_at_the_edge_is_reported_once():
    """Two hours about 32.0 °C with 0.05 °C of swing cross the edge 7,200 times; the person reads that it is in."""
    assert news_of([32.0 + 0.05 * (-1) ** n for n in range(7200)]) == [(62, "the chocolate is in its window")]


def test_a_minute_outside_is_reported_and_a_minute_back():
    bowls = [31.5] * 100 + [30.5] * 59 + [31.5] * 100 + [30.5] * 100 + [31.5] * 100 + [32.5] * 100
    assert news_of(bowls) == [
        (61, "the chocolate is in its window"), (320, "the chocolate is below its window"),
        (420, "the chocolate is in its window"), (520, "the chocolate is above its window")]


def test_a_warm_up_is_no_news_and_a_bowl_put_on_too_warm_is():
    assert news_of([25.0] * 200) == []
    assert news_of([38.0] * 200) == [(61, "the chocolate is above its window")]
    assert news_of([45.0] * 200, stage="melt") == []


# -- a window out of reach --------------------------------------------------------------------------------------------


def approach(ends_c, *, tau_s=3600.0, starts_c=26.0, duty=3000, noise_c=0.0, hours=5.0, bath="water",
             touches_s=None, water_target=34300):
    """The messages, with their times, for a bowl that nears a temperature exponentially over steady water."""
    reach = Reach(bath)
    for t_s in range(1, round(3600 * hours)):
        bowl_c = ends_c + (starts_c - ends_c) * math.exp(-t_s / tau_s) + noise_c * math.sin(t_s * 2.1)
        if touches_s and t_s % touches_s < 2:
            bowl_c = 31.1
        said = reach.see(line(t_s, bowl_c, water=34200, duty=duty, stage="work", water_target=water_target), DARK)
        if said:
            return t_s, said
    return None


def test_three_values_of_an_exponential_give_its_end():
    """By hand: 24, 28, 30 °C halve their distance to 32 °C each time."""
    assert forecast_c(24.0, 28.0, 30.0) == pytest.approx(32.0)
    assert forecast_c(30.0, 30.0, 30.0) == 30.0
    assert forecast_c(24.0, 26.0, 28.0) is None  # not slowing down
    assert forecast_c(40.0, 36.0, 34.0) == pytest.approx(32.0)  # the same from above: where it is now is not its end
    assert forecast_c(31.0, 30.0, 29.0) is None
    assert forecast_c(29.479, 29.554, 29.601) == 29.601  # steps of a probe's noise


def test_a_bowl_that_is_not_in_its_bath_is_asked_for():
    """Out of it, it falls towards the room; no lid helps that."""
    reach, stock = Reach(), Window(39.0, 40.0, 41.0, 45.0, tempered=False)
    said = [text for t_s in range(1, 9000) if (text := reach.see(
        line(t_s, 24.0 + 16.0 * math.exp(-t_s / 3000), water=44500, stage="melted"), stock))]
    assert len(said) == 1
    assert "is the bowl in its bath" in said[0]
    assert "lid" not in said[0]
    reads_c = float(said[0].split("reads ")[1].split(" °C")[0])
    assert f"{44.5 - reads_c:.0f} °C under the water" in said[0]  # readings: where it ends, the room says
    assert "levels off" not in said[0]


def test_water_that_ripples_under_its_ceiling_is_steady():
    """A limit cycle of 0.5 °C in 100 s with a probe's noise: the bowl levels off at 29.6 °C, and that is said."""
    reach, said = Reach(), []
    for t_s in range(1, 7200):
        water = round(34250 + 250 * math.sin(t_s / 16) + 60 * math.sin(t_s * 2.1))
        text = reach.see(line(t_s, 29.6 + 1.9 * math.exp(-t_s / 2400), water=water, stage="work"), DARK)
        said += [text] if text else []
    assert len(said) == 1
    assert "levels off near 29.6 °C" in said[0]


@pytest.mark.parametrize("noise_c", [0.0, 0.02])
def test_a_warmer_that_levels_off_under_its_window_says_so_by_how_much_within_forty_minutes(noise_c):
    at_s, said = approach(30.0, noise_c=noise_c)
    assert at_s < 2400
    short_c = float(said.split(" °C below it")[0].rpartition(", ")[2])
    assert short_c == pytest.approx(1.0, abs=0.3)
    assert "as warm as its ceiling allows" in said
    assert "a lid" in said


def test_two_noisy_readings_in_the_window_every_ten_minutes_do_not_silence_it():
    at_s, _ = approach(30.0, touches_s=600)
    assert at_s < 2400


def test_a_minute_in_the_window_begins_the_forecast_again():
    """A bowl that was in it is one that somebody cooled, not one that levels off."""
    reach = Reach()
    said = [reach.see(line(t_s, 31.1 if 1700 < t_s <= 1770 else 30.0, water=34200, stage="work"), DARK)
            for t_s in range(1, 3600)]
    assert not any(said[:1770 + 1800])


def test_a_melt_that_levels_off_too_cold_says_what_to_do():
    """Milk is asked about from 42.5 °C on; dark fat is molten at 36 °C, and what melts before slows the bowl down."""
    reach, milk = Reach("plate"), Window(42.5, 43.0, 45.0, 49.0, tempered=False)

    def said(ends_c):
        return [text for t_s in range(1, 9000) if (text := reach.see(
            line(t_s, ends_c - 6.0 * math.exp(-t_s / 1800), water=48900, stage="melt"), milk))]

    (text,) = said(42.0)
    assert "the melt will not get to 42.5 °C: it levels off near 42" in text
    assert "If no lumps are left, stop and begin with the next step" in text
    reach.see(line(9001, 30.5, stage="settle"), DARK)
    assert not reach.reported  # the next step begins without it
    assert said(35.0) == []


def swinging(room_k_per_h, *, hours=4.0, ceiling=50800):
    """The messages of a melt over a plate that swings by 2 °C about 48.6 °C in 28 min, in steps of a second.

    Worked by hand: at 3 per hour of what the plate is over it, and so much lost to the room, the bowl ends at
    48.6 °C less a third of the loss.
    """
    reach, dark, said, bowl_c = Reach("plate"), Window(44.5, 45.0, 47.0, 51.0, tempered=False), [], 35.5
    for t_s in range(1, round(3600 * hours)):
        plate_c = 48.6 + 2.0 * math.sin(2.0 * math.pi * t_s / 1680)
        bowl_c += (3.0 * (plate_c - bowl_c) - room_k_per_h) / 3600
        text = reach.see(line(t_s, bowl_c, water=round(1000 * plate_c), water_target=ceiling, duty=2000, stage="melt"),
                         dark)
        said += [(t_s, text)] if text else []
    return said


def test_a_melt_over_a_plate_that_swings_under_its_ceiling_says_where_it_levels_off():
    ((at_s, text),) = swinging(18.0)
    assert at_s < 2 * 3600
    assert "the melt will not get to 44.5 °C: it levels off near 42." in text
    assert "the plate swings between 47 and 50 °C" in text
    assert "melt it elsewhere" in text


def test_a_melt_over_a_swinging_plate_that_will_get_there_says_nothing():
    assert swinging(12.0) == []
    assert swinging(10.5) == []


def test_a_melt_that_got_there_and_sags_while_nobody_answers_is_not_said_to_fall_short():
    """Recorded on a virtual pot: asked at 44.5 °C, up to 44.9, then for an hour near 44.2 °C under a bath of 48.8."""
    dark = Window(44.5, 45.0, 47.0, 51.0, tempered=False)
    for ask, words in (("all_melted", []), ("", ["the melt will not get to 44.5 °C"])):
        reach, said = Reach(), []
        for t_s in range(1, 5400):
            said.append(reach.see(line(t_s, 44.2 - 0.6 * math.exp(-t_s / 1800), water=48800, water_target=50800,
                                       duty=9500, stage="melt", ask=ask), dark))
        assert [text[:len(words[0])] for text in said if text] == words if words else not any(said)


def test_a_bath_whose_target_still_moves_is_not_at_its_ceiling():
    """The bowl hardly rises for an hour, since the control lifts the bath by 0.3 °C in that time."""
    reach = Reach()
    said = [reach.see(line(t_s, 30.4 + 0.06 * t_s / 3600, water=round(33000 + 0.08 * t_s), stage="work",
                           water_target=round(33000 + 0.08 * t_s)), DARK) for t_s in range(1, 3600)]
    assert not any(said)


def test_a_heater_at_its_end_is_named_as_the_reason():
    said = approach(30.0, duty=10000)[1]
    assert "the heater gives all it has" in said
    assert "take some water out" in said


def test_a_bath_far_under_its_target_is_not_at_its_ceiling():
    """A heater of a quarter of its watts: the board holds the heat back, and the bath stays far below its target."""
    said = approach(30.0, duty=1800, water_target=36000)[1]
    assert "the water warms up less than its watts promise. What helps: look at the heater" in said
    assert "as warm as its ceiling" not in said


def test_a_plate_has_no_water_to_take_out():
    """Neither a heater at its end nor one at its ceiling is told of water."""
    for duty in (3000, 10000):
        assert "water" not in approach(30.0, duty=duty, bath="plate")[1]


def test_a_warmer_that_will_get_there_says_nothing():
    assert approach(31.6) is None
    assert approach(33.0, noise_c=0.02) is None


@pytest.mark.parametrize(("duty", "rise", "state", "said_after_s"), [
    (1000, 0.0, "hold", 900), (0, -1.0, "hold", 900), (10000, 0.0, "hold", None), (1000, 2.0, "hold", None),
    (0, 0.0, "check", None),
])
def test_heat_that_is_held_back_for_a_quarter_of_an_hour_is_said_once(duty, rise, state, said_after_s):
    """Under a bath 12 °C too cold; not while it gets its heat, warms up by 2 °C in that time, or is tested."""
    check = HeldBack()
    said = [(t_s, text) for t_s in range(1, 3000) if (text := check.see(
        line(t_s, 24.0, water=round(22000 + rise * 1000 * t_s / 900), water_target=34300, duty=duty, state=state)))]
    assert [t_s - 1 for t_s, _ in said] == ([said_after_s] if said_after_s else [])
    assert all("holds its heat back" in text for _, text in said)
    check.see(line(3000, 31.5, water=34000, water_target=34300))
    assert check.words == ""


def falling(bowl_at, *, water_c=31.6, stage="settle", **fields):
    """What is said, with its minute, of a bowl that reads so at each minute."""
    check = Falling()
    said = [(t_s / 60, check.see(line(t_s, bowl_at(t_s / 60), water=round(1000 * water_c), stage=stage), **fields))
            for t_s in range(1, 3600)]
    return [(round(minute), text) for minute, text in said if text], check.words


@pytest.mark.parametrize("stage", ["settle", "test", "work", "melted"])
def test_a_bowl_that_falls_over_a_warmer_bath_is_asked_for_once(stage):
    """In air at 20 °C, a kilogram near 29 °C falls by 0.16 °C a minute (recorded); and it is set back after 40 min."""
    ((minute, text),), after = falling(
        lambda at: 29.0 - 0.16 * at if at < 40 else 22.6 + 0.3 * (at - 40), stage=stage, away=False)
    assert minute <= 15
    assert "though the water was 4 °C warmer: look whether the bowl is in its bath" in text
    assert after == ""


@pytest.mark.parametrize("bowl_at", [
    lambda at: 31.5 - 0.05 * at,  # a lid that is off
    lambda at: 28.0 if at < 20 else max(26.0, 28.0 - 0.5 * (at - 20)),  # pieces that were put in and melt
    lambda at: 26.0 + 0.05 * at,
])
def test_a_bowl_that_sits_in_its_bath_is_not_asked_for(bowl_at):
    assert falling(bowl_at, away=False)[0] == []


def test_a_bowl_that_was_reported_as_lifted_or_falls_with_its_bath_is_not_asked_for():
    assert falling(lambda at: 29.0 - 0.16 * at, away=True)[0] == []
    assert falling(lambda at: 29.0 - 0.16 * at, water_c=21.0, away=False)[0] == []


def unwarmed(bowl_at, *, water_at=lambda _: 42.0, stage="melt", **fields):
    """What is said, with its minute, of a bowl and a bath that read so at each minute; and what is said at the end."""
    check = Unwarmed()
    said = [(t_s // 60, check.see(line(t_s, bowl_at(t_s / 60), water=round(1000 * water_at(t_s / 60)), stage=stage,
                                       **fields), away=False)) for t_s in range(1, 7200)]
    return [(minute, text) for minute, text in said if text], check.words


def test_a_bowl_on_the_bench_beside_its_hot_bath_is_asked_for_in_a_melt_once_until_it_warms_up():
    """2 kg near its room of 20 °C: 24 °C, falling with a time constant of an hour (1.1 h by hand: 0.93 W/K, 3.5 kJ/K).
    Set back after 80 min, it warms by a degree in 3 min.
    """
    ((minute, text),), after = unwarmed(
        lambda at: 20.0 + 4.0 * math.exp(-at / 60.0) if at < 80 else 21.0 + (at - 80) / 3)
    assert minute == FAR_MINUTES
    assert "has not warmed up in 30 min, though the water is 20 °C warmer: look whether the bowl is in its bath" in text
    assert after == ""


def test_it_is_still_asked_for_when_the_warmer_waits_with_its_heat_and_the_bath_cools():
    """As long as the bath is the warmer of the two."""
    (_,), words = unwarmed(lambda _: 20.0, water_at=lambda at: 42.0 - max(0.0, at - 40) / 4, state="off")
    assert "not warmed up in 119 min, though the water is 2 °C warmer: look whether the bowl is in its bath" in words


@pytest.mark.parametrize("bowl_at", [
    lambda at: 20.0 + 0.02 * at,  # the far side of a block, which warms by 4 % of 22 °C in half an hour
    lambda at: 33.0,
])
def test_a_bowl_that_warms_up_or_is_near_its_bath_is_not_asked_for(bowl_at):
    assert unwarmed(bowl_at)[0] == []


def test_the_screen_asks_for_a_bowl_that_stays_cold_beside_its_hot_bath():
    scene, news, said = scene_at(20.5, stage="melt"), CourseNews("water"), []
    for t_s in range(601, 601 + 60 * FAR_MINUTES + 10):
        cold = line(t_s, 20.5, stage="melt", water=42000)
        said += news.see(cold, scene, asked=False)
        scene.see(float(t_s), cold)
    assert sum("has not warmed up" in text for text in said) == 1
    assert scene_words.prompt(scene).startswith("the chocolate has not warmed up")


def test_while_the_warmer_holds_its_heat_back_for_long_the_present_says_where_to_look():
    """Five minutes after it went off over a bath that wants heat, on the table and in the bath; once an episode."""
    for stage, event, words in (("seed", "bowl_off", "so the bath cools until the bowl is back"),
                                ("melt", "", "Is the bowl off, or its probe out of the chocolate?")):
        scene, news, said = scene_at(20.5, stage=stage), CourseNews("water"), []
        scene.bowl_away = bool(event)
        for t_s in range(601, 1201):
            said += [(t_s, text) for text in news.see(line(
                t_s, 24.0, stage=stage, state="off", water=30000, water_target=32700), scene, asked=False)]
        assert [t_s for t_s, text in said if words in text] == [901]
        assert words in scene_words.prompt(scene)
        news.see(line(1201, 24.0, stage=stage, water=30000, water_target=32700, duty=9000), scene, asked=False)
        assert words not in scene_words.prompt(scene)


def test_pulses_that_only_look_at_the_probe_are_no_heat_and_a_bath_that_warms_up_has_some():
    """A draught that the board takes for a probe that does not follow: 18 % or none for half an hour."""
    def said(duty, rise):
        check, bowl = HeatWaits(), {"bowl": 30500, "water_target": 34300, "stage": "work"}
        return [t_s for t_s in range(1, 1200) if check.see(decode(status_line(
            1, 1000 * t_s, water=32500 + rise * (t_s // 60), duty=duty(t_s), **bowl)[:-1]), away=False)]

    assert said(lambda t_s: 1813 if t_s // 90 % 2 else 0, -60) == [301]
    assert said(lambda t_s: 1813, 100) == []  # a strong heater on its way
    assert said(lambda t_s: 4000, -60) == []  # a weak one in a cold kitchen


@pytest.mark.parametrize("fields", [
    {"state": "hold", "duty": 8000}, {"state": "hold", "stage": "tune"},
    {"state": "hold", "warn": 1 << faults.HEAT_CAPPED, "water": 33000},  # over its target
    {"state": "off", "fault": 5}, {"state": "off", "stage": "rest"},
    {"state": "off", "water": 32000}, {"state": "off", "stage": "work", "bowl": 33000},
])
def test_a_warmer_that_needs_no_heat_or_says_why_it_gives_none_is_not_said_to_hold_it_back(fields):
    check = HeatWaits()
    said = [check.see(decode(status_line(1, 1000 * t_s, **{
        "bowl": 31000, "water": 30000, "water_target": 32700, "stage": "settle", **fields})[:-1]), away=False)
        for t_s in range(1, 1200)]
    assert not any(said)


def test_while_the_warmer_waits_with_its_heat_the_present_says_where_to_look():
    """And not "stir every few minutes; the warmer asks when it is warm enough", which is never."""
    scene, news = scene_at(20.5, stage="melt"), CourseNews("water")
    waits = line(601, 20.5, stage="melt", state="off", warn=1 << faults.HEAT_CAPPED, water=30000, water_target=42000)
    news.see(waits, scene, asked=False)
    scene.see(601.0, waits)
    assert scene_words.prompt(scene).startswith("the warmer holds its heat back. Is the bowl off, or its probe")
    on_again = line(602, 20.5, stage="melt")
    news.see(on_again, scene, asked=False)
    scene.see(602.0, on_again)
    assert scene_words.prompt(scene) == scene_words.MEANWHILE["melt"]


def test_a_bowl_that_goes_on_falling_is_not_called_warming_back():
    scene = Scene("dark", "the warmer 'pot'", DARK, True, None, 150.0)
    for t_s in range(0, 1300, 10):
        scene.see(float(t_s), line(t_s, 30.0 - 0.0025 * t_s, stage="settle"))
    assert scene_words.place(scene) == "below its window"
    scene.falls = "the chocolate fell: look whether the bowl is in its bath"
    assert "The chocolate fell: look whether" in scene_words.prompt(scene)
    scene.see(1300.0, line(1300, 31.5, stage="work"))
    assert scene_words.prompt(scene) == scene.falls


def test_a_pause_says_what_becomes_of_the_bowl():
    scene = scene_at(29.0, stage="work", state="pause")
    assert "the bowl is at 29.0 °C, below its window; water pause" in text_of(scene)
    scene.spoilt = "it read 24.0 °C and has set"
    assert "it read 24.0 °C and has set; water pause" in text_of(scene)
    assert "now water pause" in text_of(scene_at(31.5, stage="work", state="pause"))


# -- the bell ---------------------------------------------------------------------------------------------------------


def scene_at(bowl_c=31.5, **fields):
    """A scene with one line."""
    scene = Scene("dark", "the warmer 'pot'", DARK, True, 3600.0, 150.0)
    scene.see(600.0, line(600, bowl_c, **fields))
    return scene


def test_it_rings_when_somebody_is_asked_for_and_again_until_the_answer():
    bell, scene = Bell(quiet=False), scene_at(ask="swap")
    assert not bell.due(scene, 0.0)
    scene.calling = True
    assert [bell.due(scene, now_s) for now_s in (0.0, 1.0, RING_S - 0.1, RING_S, RING_S + 1.0)] == [
        True, False, False, True, False]
    scene.calling = False
    assert not bell.due(scene, RING_S + 2.0)
    scene.calling = True
    assert bell.due(scene, RING_S + 3.0)


def test_quiet_never_rings():
    scene = scene_at(ask="swap")
    scene.calling = True
    assert not any(Bell(quiet=True).due(scene, now_s) for now_s in (0.0, 100.0))


# -- now --------------------------------------------------------------------------------------------------------------


def text_of(scene, height=24):
    """The screen as one text."""
    return " ".join(screen.draw(scene, 80, height).plain.split())


def test_a_pause_comes_before_what_was_asked():
    scene = scene_at(state="pause", ask="pour")
    scene.prompt = "pour the refill in now"
    assert "Unplug or open the hand switch before hands go in; w ends the pause" in text_of(scene)
    assert "pour the refill" not in text_of(scene)


def test_a_bowl_that_is_off_is_not_dipping():
    scene = scene_at()
    scene.bowl_away = True
    assert "bowl off · dipping" in text_of(scene)
    assert "set it back, then b" in text_of(scene)


def test_a_lifted_bowl_takes_no_refill_and_on_the_table_it_is_seeded():
    for stage, said in (("work", "set it back, then b"), ("seed", "add the seed")):
        scene = scene_at(stage=stage)
        scene.bowl_away = True
        scene.prompt = "pour the refill in now" if stage == "work" else "add the seed"
        assert said in text_of(scene)
        assert "pour the refill" not in text_of(scene)


def test_after_an_announcement_there_is_something_to_wait_for():
    scene = scene_at()
    assert "nothing to do" in text_of(scene)
    scene.refill_coming = True
    assert "the warmer says when to pour" in text_of(scene)


def test_a_bowl_that_was_too_warm_has_something_to_do_while_it_is_dipped_from():
    scene = scene_at(stage="work")
    assert scene_words.prompt(scene) == "nothing to do"
    scene.caution = "above its window: test the temper before you dip again"
    assert scene_words.prompt(scene) == "it was above its window: test the temper before you dip again (t)"
    scene.see(700.0, line(700, 31.5, stage="rest"))
    assert "temper" not in scene_words.prompt(scene)


def test_a_bowl_that_is_still_cold_is_not_dipped_from():
    for bowl_c, said in ((28.0, "wait before you dip"), (30.8, "nothing to do"), (31.5, "nothing to do")):
        scene = Scene("dark", "the warmer 'pot'", DARK, True, None, 150.0)
        scene.see(600.0, line(600, bowl_c, stage="work"))
        assert scene_words.prompt(scene).startswith(said)


@pytest.mark.parametrize(("bowl_c", "words", "place"), [
    (28.0, "stir now and then: its bath should warm it back into its window", "warming back"),
    (31.5, "nothing to do: it settles in its window", "in its window"),
    (33.0, "it cools into its window: stir now and then", "settling"),
])
def test_what_there_is_to_do_while_it_settles_is_said_by_where_it_is(bowl_c, words, place):
    scene = scene_at(bowl_c, stage="settle")
    assert words in text_of(scene)
    assert scene_words.place(scene) == place


@pytest.mark.parametrize(("width", "height"), [(40, 12), (60, 17), (20, 4)])
@pytest.mark.parametrize("draw", [screen.draw, screen.draw_big])
def test_a_small_window_has_the_temperature_and_what_is_asked(width, height, draw):
    scene = scene_at(33.0, stage="work")
    scene.question = "Is the dipping over?"
    shown = draw(scene, width, height).plain
    assert len(shown.splitlines()) <= height
    assert all(len(row) <= width for row in shown.splitlines())
    assert "33.0" in shown
    assert "ABOVE" in shown
    assert "Is the" in shown


@pytest.mark.parametrize("draw", [screen.draw, screen.draw_big])
def test_a_question_does_not_hide_what_there_is_to_do(draw):
    scene = scene_at(33.0, stage="work")
    scene.caution, scene.question = "above its window: test the temper before you dip again", "Is the dipping over?"
    shown = " ".join(draw(scene, 80, 24, "y yes").plain.split())
    assert "Is the dipping over?" in shown
    assert "it was above its window: test the temper before you dip again (t)" in shown


def test_a_hold_that_another_started_ends_when_its_time_is_up():
    """Only the warmer knows when."""
    for joined, left in ((False, "until you stop it"), (True, "until its time is up")):
        assert scene_words.times(Scene("dark", "the warmer 'pot'", DARK, True, None, 150.0, joined=joined))[1] == left


def test_big_digits_have_the_time_left_and_two_rows_of_keys():
    keys = "  ".join(f"{letter} does something long" for letter in "abcdefgh")
    lines = screen.draw_big(scene_at(), 80, 24, keys).plain.split("\n")
    assert "0:50:00 left" in lines[0]
    assert all("does something" in row for row in lines[-2:])


# -- the last hour ----------------------------------------------------------------------------------------------------


def test_the_last_hour_is_drawn_where_there_is_room():
    scene = scene_at()
    assert "last hour" not in text_of(scene, 24)
    assert "last hour" in text_of(scene, 34)
    assert len(screen.draw(scene, 120, 34).plain.split("\n")) == 34


def test_the_curve_has_each_moment_at_its_column_and_its_temperature():
    """Water 10 °C over chocolate that rises by a degree in half an hour: oldest left, present right."""
    scene = Scene("dark", "the warmer 'pot'", Window(30.0, 31.0, 32.0, 50.0), True, None, 150.0)
    for t_s in range(0, 2 * int(CURVE_S), 20):
        scene.see(float(t_s), line(t_s, 20.0 + t_s / 1800.0, water=40000))
    rows = [glyphs for _, glyphs in curve_rows(scene, 107, 23)]
    columns = {x: row for row, glyphs in enumerate(rows) for x, glyph in enumerate(glyphs) if glyph == CHOCOLATE}
    assert sorted(columns) == list(range(100))
    assert [columns[x] for x in range(100)] == sorted(columns.values(), reverse=True)
    labels = [label.strip() for label, _ in curve_rows(scene, 107, 23)]
    assert labels[0] == "41.0"
    assert labels[-1] == "21.0"
    assert rows[1].count(WATER) == 100
