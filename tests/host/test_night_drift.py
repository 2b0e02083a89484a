"""What a comparison of nights finds; the truth is the warmers that were played (`played_nights`)."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from msgspec.structs import replace as replace_entry
from played_nights import MELTED, PLANTS, play

from bainwright.archive.listing import Entry
from bainwright.files.rig import load_rig
from bainwright.review import drift, nights_words
from bainwright.review.night import FIGURES, Night
from bainwright.review.night_figures import NightFigures, night_figures
from bainwright.review.nights import compare

RIG = load_rig("pot")
HOURS = 5.0


@cache
def played(plant: str, seed: int, watts: float = 1.0, water: float = 1.0, bias_c: float = 0.0, lid: bool = True
           ) -> NightFigures:  # fmt: skip
    """One night of one warmer; the room, the fill and the start differ from night to night."""
    rng = np.random.default_rng(seed)
    log = play(RIG, dict(RIG.settings), [], HOURS, plant=plant, hold=MELTED, stage="melted", warmer=1, seed=seed,
               room_c=20.0 + float(rng.normal()), fill=float(rng.uniform(0.8, 1.0)), watts=watts, water=water,
               bias_c=bias_c, lid=lid, start_c=(float(rng.uniform(18.0, 45.0)), 36.0))  # fmt: skip
    found = night_figures(log, RIG.settings)
    assert found is not None
    return found


def night(number: int, own: NightFigures | None, **changes: object) -> Night:
    entry = Entry(f"/holds/melted-{number}", f"melted-{number}", started_s=1.76e9 + 86400.0 * number, warmer="my pot",
                  board="e66", firmware="1.0")  # fmt: skip
    return replace(
        Night(entry, dict.fromkeys(FIGURES), "", "", [], None, [], 0, 1.0, [], None, None, None, False, [], [], [],
              None, own, {}, "water", []),
        **changes,
    )  # fmt: skip


def healthy(plant: str) -> list[NightFigures]:
    return [played(plant, seed) for seed in range(6)]


@pytest.mark.parametrize("plant", list(PLANTS))
def test_the_same_warmer_on_other_nights_has_not_changed(plant: str) -> None:
    assert drift.drifts(healthy(plant)) == []


@pytest.mark.parametrize(("change", "cause"), [
    ({"watts": 0.85}, drift.WEAKER), ({"water": 0.75}, drift.LESS_WATER), ({"lid": False}, drift.MORE_LOSS),
    ({"bias_c": 0.7}, drift.LEAD_DOWN), ({"bias_c": -0.7}, drift.LEAD_UP),
])  # fmt: skip
@pytest.mark.parametrize("plant", list(PLANTS))
def test_a_change_is_found_from_its_first_night_with_its_cause(
    plant: str, change: dict[str, float], cause: str
) -> None:
    """Larger than the bench's changes, so that four nights settle it on every plant."""
    after = [played(plant, 10 + seed, **change) for seed in range(4)]
    (found,) = drift.drifts([*healthy(plant), *after])
    assert found.first == 6
    assert cause in found.causes


def test_a_weaker_heater_is_given_in_per_cent_with_an_interval_that_holds_the_truth() -> None:
    """15 % fewer watts: 1/0.85 times the heat for each degree, and 0.85 times the rise."""
    after = [played("built-in", 10 + seed, watts=0.85) for seed in range(4)]
    (found,) = drift.drifts([*healthy("built-in"), *after])
    assert abs(found.change[drift.NEED] - np.log(1 / 0.85)) < found.spread[drift.NEED]
    assert abs(found.change[drift.RISE] - np.log(0.85)) < found.spread[drift.RISE]


def test_a_night_without_a_figure_takes_it_from_no_other_night() -> None:
    """One of ten nights began warm and shows no rise: the fifteen per cent less in the others is still found by it."""
    nights = [*healthy("built-in"), *(played("built-in", 10 + seed, watts=0.85) for seed in range(4))]
    nights[2] = replace(nights[2], rise_k_per_j=np.nan, rise_sd=np.nan)
    (found,) = drift.drifts(nights)
    assert found.first == 6
    assert abs(found.change[drift.RISE] - np.log(0.85)) < found.spread[drift.RISE]


def test_a_change_of_complete_nights_has_the_pooled_covariance_of_hotelling() -> None:
    """By NumPy's own covariance: two sides of three and five nights, the chosen spread counted for twenty nights."""
    rng = np.random.default_rng(1)
    values, own = rng.normal(0.0, 0.1, (8, 3)) + 1.0, np.full((8, 3), 1e-4)
    free = drift.PRIOR_NIGHTS + 8 - 2
    scatter = 2 * np.cov(values[:3].T) + 4 * np.cov(values[3:].T)
    pooled = (drift.PRIOR_NIGHTS * drift._chosen(values[:3, 2].mean()) + scatter) / free
    expected = pooled * (1 / 3 + 1 / 5) + np.diag(np.full(3, 1e-4 * (1 / 3 + 1 / 5)))
    covariance, got = drift._covariance(values, own, np.ones((8, 3), dtype=bool), 3, np.ones(3, dtype=bool))
    assert np.allclose(covariance, expected)
    assert got == free - 3 + 1


def test_a_record_that_begins_warm_and_quiet_has_a_wide_rise_and_no_false_one() -> None:
    log = play(RIG, dict(RIG.settings), [], HOURS, hold=MELTED, stage="melted", start_c=(41.0, 40.0), lid=True)
    late = night_figures(log, RIG.settings)
    assert late is not None
    assert late.rise_sd > 2 * played("built-in", 0).rise_sd


def test_nights_at_other_temperatures_are_not_compared() -> None:
    """A bath at 33 °C loses less for each degree than one at 44 °C."""
    log = play(RIG, dict(RIG.settings), [], HOURS, lid=True)
    dipping = night_figures(log, RIG.settings)
    assert dipping is not None
    (each,) = compare([night(at, own) for at, own in enumerate([*healthy("built-in"), dipping])])
    assert [one.entry.name for one in each.apart] == ["melted-6"]
    assert each.changes == []
    assert any("melted-6" in line for line in nights_words.lines([each]))


def test_two_boards_of_one_name_are_two_warmers() -> None:
    first, second = night(0, played("built-in", 0)), night(1, played("built-in", 1))
    other = replace(second, entry=Entry("/x/y", "y", started_s=1.76e9, warmer="my pot", board="e67"))
    assert compare([first, other]) == []
    assert len(compare([first, second, other])) == 1


def test_a_night_given_twice_counts_once_and_one_without_a_start_is_left_out() -> None:
    first, second = night(0, played("built-in", 0)), night(1, played("built-in", 1))
    lost = replace(second, entry=Entry("/x/z", "z", warmer="my pot", board="e66"))
    (each,) = compare([second, first, first, lost])
    assert [one.entry.name for one in each.nights] == ["melted-0", "melted-1"]


def test_copies_of_one_hold_count_once() -> None:
    """Gathered from another PC, collected from the board, watched here: three folders, one hold."""
    first, second = night(0, played("built-in", 0)), night(1, played("built-in", 1))
    copies = [replace(second, entry=replace_entry(second.entry, folder=f"/copies/{at}")) for at in range(3)]
    (each,) = compare([first, second, *copies])
    assert len(each.nights) == 2


def test_a_clock_that_was_set_back_is_named() -> None:
    """The board counts its holds, so that a later hold has the higher number."""
    both = [night(at, None) for at in range(2)]
    first, second = (replace(each, entry=replace_entry(each.entry, hold=number))
                     for each, number in zip(both, (8, 7), strict=True))  # fmt: skip
    assert any("clock" in line for line in nights_words.lines(compare([first, second])))
    assert not any("clock" in line for line in nights_words.lines(compare(both)))


@pytest.mark.parametrize(("facts", "duty"), [({"room_c": -273.0}, None), ({"room_c": float("nan")}, None), ({}, 0.0)])
def test_a_record_with_an_impossible_room_or_heat_has_no_figures(facts: dict[str, float], duty: float | None) -> None:
    log = play(RIG, dict(RIG.settings), [], 3.0, hold=MELTED, stage="melted", start_c=(41.0, 40.0))
    if duty is not None:
        log.columns["duty"][:] = duty
    assert night_figures(replace(log, facts={**log.facts, **facts}), RIG.settings) is None


def test_what_somebody_changed_is_named_beside_the_drift() -> None:
    before = [night(at, own, setup={"rig": {"heater_w": 150.0, "name": "a"}})
              for at, own in enumerate(healthy("built-in"))]  # fmt: skip
    after = [night(6 + at, played("built-in", 10 + at, watts=0.85), setup={"rig": {"heater_w": 170.0, "name": "b"}})
             for at in range(4)]  # fmt: skip
    (line, mark, *_) = nights_words.lines(compare([*before, *after]))
    assert line.startswith("From melted-6 (")
    assert "heat per degree" in line
    assert "the heater gives less heat" in line
    assert "heater_w from 150 to 170" in line
    assert mark.startswith("Changed before melted-6")


@pytest.mark.parametrize("figures", [[], [None], [None, None]])
def test_without_figures_there_is_nothing_to_compare_and_it_says_so(figures: list[NightFigures | None]) -> None:
    said = nights_words.lines(compare([night(at, own) for at, own in enumerate(figures)]))
    assert said == ([] if len(figures) < 2 else [said[0]])
    assert all("without the rig's sizes" in line for line in said)
