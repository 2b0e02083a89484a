"""What the display shows: big figures, the next act in few words, and the three facts of a trip; all of it fits."""

from bainboard import display_text, display_words, faults, stages
from bainboard.programme import ACTS, Programme
from bainboard.settings import PROFILE, defaults

HOUR = 3600000
SIDE_WIDTH, FIGURE_ROWS = 4, 5  # as the driver of the display draws them


def programme(stage="work", place=None, for_ms=0):
    found = Programme(defaults(PROFILE), stage, 0, for_ms)
    found.place = place
    return found


def shown(state="hold", fault=0, asked="", p=None, temps_c=(33.4, 31.52), estimated=False, duty=0.0, hold_ms=0,
          name="dark", locked=False, sure=True):
    rows = [None] * 8
    display_text.rows(rows, state, fault, asked, p, temps_c, estimated, duty, hold_ms, name, locked, "", sure)
    assert len(rows) == 8
    for at in range(8):
        big, text, inverse = rows[at]
        assert len(text) <= (SIDE_WIDTH if big else display_text.WIDTH), text
        assert inverse in (True, False)
        assert bool(big) == (at < FIGURE_ROWS and not fault)
    return rows


def texts(rows):
    return [row[1] for row in rows]


def test_a_hold_shows_the_chocolate_large_and_where_it_is_beside():
    rows = shown(p=programme(place="inside"), duty=0.4)
    assert [row[0] for row in rows] == ["31.5"] * 5 + [""] * 3
    assert texts(rows)[:5] == ["IN", "", "", "heat", " 40%"]
    assert texts(rows)[5] == "31.0-32.0 W33.4"
    for place, word in (("below", "LOW"), ("above", "HIGH"), (None, "")):
        assert texts(shown(p=programme(place=place)))[0] == word


def test_what_is_estimated_and_what_is_the_bath_s_is_said_to_be():
    assert texts(shown(p=programme(), estimated=True))[1] == "est."
    rows = shown(p=programme(), temps_c=(33.4, None))
    assert (rows[0][0], rows[1][1]) == ("33.4", "bath")


def test_a_temperature_that_nobody_knows_is_dashes_and_a_hot_one_still_fits():
    assert display_text.figures(None) == "--.-"
    assert shown(p=programme(), temps_c=(None, None))[0][0] == "--.-"
    figures = [display_text.figures(t) for t in (5.04, 31.46, 99.94, 99.96, 120.0)]
    assert figures == ["5.0", "31.5", "99.9", "100", "120"]


def test_the_time_left_counts_up_to_the_minute_and_the_time_gone_down():
    doing = texts(shown(p=programme(for_ms=2 * HOUR), hold_ms=HOUR + 1))[6:]
    assert doing == ["dipping", "1:00 left"]
    assert texts(shown(p=programme(for_ms=HOUR), hold_ms=HOUR - 1))[7] == "0:01 left"
    assert texts(shown(p=programme(for_ms=HOUR), hold_ms=HOUR + 900))[7] == "0:00 left"
    assert texts(shown(p=programme(), hold_ms=HOUR + 119999))[7] == "1:01 gone"


def test_the_morning_after_says_how_long_the_stock_was_where_it_is_and_if_it_is_fit():
    p = programme("melted", for_ms=9 * HOUR)
    now_ms = 0
    for bowl_c, minutes in ((30.0, 60), (40.0, 475)):
        for _ in range(minutes):
            now_ms += 60000
            p.step(now_ms, 42.0, bowl_c)
    assert texts(shown(p=p, temps_c=(42.0, 40.0), hold_ms=now_ms))[6:] == ["40 for 7:54 fit", "0:05 left"]
    p.step(now_ms + 60000, 42.0, 38.0)
    assert texts(shown(p=p, temps_c=(42.0, 38.0), hold_ms=now_ms + 120000))[6] == "LOW for 0:01"
    p.step(now_ms + 120000, 42.0, 40.0)
    assert texts(shown(p=p, temps_c=(42.0, 40.0), hold_ms=now_ms + 240000))[6] == "40 for 0:02"


def test_what_is_asked_takes_the_place_of_what_is_being_done():
    asked = texts(shown(p=programme(), asked="bowl_on"))[6:]
    assert " ".join(asked) == "wipe bowl dry, set back, yes"


def test_everything_a_stage_can_ask_has_words_that_are_not_cut():
    keys = ["lift", "seed_more", "set_yet", "not_set", "look"]
    for row in stages.STAGES:
        keys += [step[stages.ASK] for step in row[stages.STEPS]]
    for key in set(keys) - {"", "working", "settling"}:  # the programme asks something else in their place, or nothing
        words = display_text.words(display_words.ASKED, key)
        assert words != key, key
        assert " ".join(display_text.wrap(words, 2)).rstrip() == words, words


def test_every_stage_and_state_has_its_words():
    for stage in stages.RUNNABLE:
        assert texts(shown(p=programme(stage)))[6] not in ("", stage), stage
    assert texts(shown("check", p=programme()))[6] == "testing itself"
    assert texts(shown("pause", p=programme()))[6] == "HEAT OFF: UNPLUG"
    assert texts(shown("off", p=programme()))[6] == "heat off"
    assert texts(shown("off", p=programme("rest")))[6] == "rest, heat off"


def test_at_rest_it_shows_the_chocolate_chosen_and_what_the_buttons_do():
    assert texts(shown("idle"))[5:] == ["dark", "yes: start", "no: next kind"]
    assert texts(shown("idle", name="a name of thirty-two letters, yes"))[5] == "a name of thirty"


def test_a_trip_shows_what_was_done_if_it_is_safe_what_was_seen_and_what_to_do():
    rows = shown("trip", faults.OVER_HARD_LIMIT, temps_c=(61.3, None))
    assert texts(rows) == ["UNPLUG IT NOW", "heat is off", "water passed the", "hard limit", ">still rising?",
                           "the water scalds", "then button 3 s", "W61.3"]
    assert [row[2] for row in rows] == [True] + [False] * 7
    rows = texts(shown("off", faults.OVER_STAGE, p=programme()))
    assert rows[:2] == ["HEAT OFF, SAFE", ""]
    assert rows[6:] == ["", "W33.4 choc 31.5"]


def test_safe_is_said_only_where_it_is_known_that_the_water_does_not_rise():
    for row in faults.FAULTS[1:]:
        for state in ("idle", "off", "trip"):
            said = " ".join(texts(shown(state, row[faults.NUMBER], sure=False)))
            assert "SAFE" not in said
            assert "UNPLUG IT NOW" in said or "HEAT OFF rises? unplug it" in said


def test_every_fault_has_its_three_facts_and_none_is_cut():
    lines = display_words.FAULTS.split("\n")
    assert len(lines) == len(faults.FAULTS) + 2  # an empty one at either end
    for row in faults.FAULTS[1:]:
        seen, _, do = lines[row[faults.NUMBER] + 1].partition("|")
        for words in (seen, ">" + do):
            assert len(words) > 1, row
            assert " ".join(display_text.wrap(words, 2)).rstrip() == words, words
        unplug = texts(shown("trip", row[faults.NUMBER]))[0] == "UNPLUG IT NOW"
        assert unplug == (row[faults.HAZARD] == faults.UNPLUG)


def test_locked_buttons_say_so_and_an_alarm_is_not_hidden_by_it():
    assert texts(shown(p=programme(), locked=True))[5] == display_text.LOCKED
    assert texts(shown("trip", faults.WATER_PROBE, locked=True))[0] == "HEAT OFF, SAFE"


def test_why_a_press_was_refused_is_whole_on_the_display():
    """Every act in every step: the words after "refused:", in eight rows of sixteen letters, and nothing cut off."""
    seen, acts = 0, sorted(ACTS)
    acts.append("announce")
    for stage in stages.RUNNABLE:
        for act in acts:
            p = programme(stage)
            done, why = p.act(act, 1000)
            if done:
                continue
            words = why.split(" refused: ")[1]
            rows = [None] * 8
            display_text.rows(rows, "hold", 0, "", p, (33.4, 31.5), False, 0.0, 0, "dark", False, words)
            assert rows[0] == ("", "NOT NOW", True)
            assert " ".join(text for _, text, _ in rows[1:] if text).replace(" ", "") == words.replace(" ", ""), words
            assert len(rows) == 8
            assert max(len(text) for _, text, _ in rows) <= display_text.WIDTH
            seen += 1
    assert seen > 30
