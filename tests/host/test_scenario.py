"""Scenario files: what is read, and how everything else is refused."""

from __future__ import annotations

import math

import pytest

from bainwright.core.errors import FileError
from bainwright.virtual.scenario import KINDS, kind_of, load_scenario, parse_scenario
from bainwright.virtual.wiring import FAULTS

REFILL = {"at_s": 5.0, "kind": "refill", "mass_kg": 0.3, "temp_c": 24.0}


def refused(*events: object, **head: object) -> str:
    with pytest.raises(FileError) as refusal:
        parse_scenario({**head, "event": list(events)}, "market.toml")
    assert refusal.value.exit_code == 2
    return str(refusal.value)


def test_kinds_are_the_sixteen_of_the_design_and_those_of_an_evening():
    """Six of the design's need no matter and ten touch it; stirring, cooling and three more acts come on top."""
    matter = {name for name, kind in KINDS.items() if kind.physical}
    assert matter == {
        "refill", "dip", "seed", "stir", "water_swap", "water_top_up", "water_out", "bowl_off", "bowl_on",
        "lid", "draught", "room", "cold_bath"}
    assert set(KINDS) - matter == {
        "announce", "confirm", "thicker", "thinner", "test", "back", "finish", "fault", "power_cut"}


def test_every_kind_says_what_it_is():
    """The table of kinds is the guide."""
    assert all(kind.__doc__ for kind in KINDS.values())


def test_events_are_put_in_order_of_time_and_keep_the_files_order_within_a_second():
    """Sorted, stable."""
    doc = {"event": [
        {"at_s": 9, "kind": "confirm"}, REFILL, {"at_s": 5, "kind": "thicker"}, {"at_s": 0, "kind": "lid", "on": True}]}
    assert [kind_of(event) for event in parse_scenario(doc).events] == ["lid", "refill", "thicker", "confirm"]


def test_event_is_placed_by_number_and_kind_in_its_refusal():
    """The user finds the line: file, event, kind, key, what came, what would do."""
    words = refused({"at_s": 0, "kind": "confirm"}, {**REFILL, "mass_kg": -1})
    assert words == "scenario market.toml, event 2 (refill), mass_kg: got -1, wanted a number above 0.0"


def test_unknown_kind_is_refused_with_the_nearest():
    """A slip of the finger is named."""
    assert "did you mean refill?" in refused({**REFILL, "kind": "refil"})


@pytest.mark.parametrize("kind", [None, 3, ["refill"]])
def test_kind_that_is_no_word_is_refused(kind):
    """Missing or of a wrong type."""
    assert "event 1, kind" in refused({**REFILL, "kind": kind})


def test_unit_in_the_key_is_asked_for():
    """Grams for kilograms is an unknown key, not a thousandfold refill."""
    words = refused({"at_s": 5, "kind": "refill", "mass_g": 300, "temp_c": 24})
    assert "no such key as mass_g; did you mean mass_kg?" in words


def test_missing_key_is_named():
    """With what it is."""
    assert "mass_kg is missing: wanted kilograms" in refused({"at_s": 5, "kind": "dip", "for_s": 60})


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("key", ["at_s", "mass_kg", "temp_c"])
def test_numbers_that_are_none_are_refused(key, value):
    """TOML knows nan and inf; an evening does not."""
    assert f"event 1 (refill), {key}" in refused({**REFILL, key: value})


@pytest.mark.parametrize("value", [-0.001, 10**400, "5", True])
def test_seconds_before_the_start_or_of_no_sense_are_refused(value):
    """Negative, absurd, a text, a yes."""
    assert "at_s" in refused({**REFILL, "at_s": value})


@pytest.mark.parametrize(
    ("event", "celsius"),
    [({**REFILL, "temp_c": 75}, "23.9"), ({"at_s": 1, "kind": "room", "temp_c": 68}, "20.0"),
     ({"at_s": 1, "kind": "water_top_up", "litres": 0.2, "temp_c": 104}, "40.0")],
)
def test_fahrenheit_is_met_with_words(event, celsius):
    """(F - 32) / 1.8 by hand; a temperature too hot for its place that makes sense in °F says so."""
    words = refused(event)
    assert "looks like °F" in words
    assert f"{celsius} °C" in words


def test_unknown_fault_is_refused_with_the_nearest():
    """From the one list of faults."""
    assert "did you mean water_open?" in refused({"at_s": 1, "kind": "fault", "name": "water_opn"})


def test_an_evening_s_file_may_break_every_part_that_the_bench_can_break():
    """The display, and a bowl probe in each of its ways, too."""
    events = [{"at_s": 1, "kind": "fault", "name": name} for name in FAULTS]
    names = [event.name for event in parse_scenario({"event": events}).events]
    assert names == list(FAULTS)
    assert {"display_open", "bowl_short", "bowl_bad_crc"} <= set(names)


def test_single_brackets_are_explained():
    """[event] instead of [[event]] is the usual slip."""
    with pytest.raises(FileError, match="two brackets"):
        parse_scenario({"event": REFILL})


def test_an_event_written_as_a_table_of_its_own_is_refused_with_how_to_write_it():
    with pytest.raises(FileError, match=r'power_cut: got a table of that name.*kind = "power_cut"'):
        parse_scenario({"power_cut": [{"at_s": 5}]}, "mine")


def test_heads_and_starts_are_checked_too():
    """Unknown keys above the events are refused with the nearest."""
    assert "did you mean duration_s?" in refused(duration=60)
    assert "did you mean water_c?" in refused(start={"watr_c": 3})
    assert "wanted a table" in refused(start=3)
    assert "event 1: got 3" in refused(3)


def test_empty_file_is_an_evening_without_events():
    """Nothing is asked for, nothing happens."""
    assert parse_scenario({}).events == ()


def test_orange_sticks_are_the_evening_they_are_said_to_be():
    """3 h 40 min on the pot; 1.8 kg and 0.5 refilled less 1.6 dipped leave 0.7; every act has its words."""
    scenario = load_scenario("orange_sticks")
    sums = dict.fromkeys(("dip", "refill"), 0.0)
    for event in scenario.events:
        if kind_of(event) in sums:
            sums[kind_of(event)] += event.mass_kg
    assert (scenario.duration_s, scenario.rig) == (13200, "pot")
    assert sums == pytest.approx({"dip": 1.6, "refill": 0.5})
    assert scenario.start.chocolate_kg + sums["refill"] - sums["dip"] == pytest.approx(0.7)
    assert len(scenario.captions()) == len(scenario.events)
    assert all(event.at_s < scenario.duration_s for event in scenario.events)


def test_file_that_is_absent_or_no_toml_is_refused(tmp_path):
    """With the names that exist, and the line that is wrong."""
    with pytest.raises(FileError, match="did you mean orange_sticks"):
        load_scenario("orange_stick")
    broken = tmp_path / "broken.toml"
    broken.write_text("[[event]\n")
    with pytest.raises(FileError, match="not TOML"):
        load_scenario(broken)
    for slip, hint in (("room_c = 20,5", "write 20.5, with a point"), ("title = evening", 'write words in "quotes"')):
        broken.write_text(f"duration_s = 60\n{slip}\n")
        with pytest.raises(FileError, match=hint):
            load_scenario(broken)
    broken.write_bytes(b"\xff\xfe")
    with pytest.raises(FileError, match="UTF-8"):
        load_scenario(broken)
