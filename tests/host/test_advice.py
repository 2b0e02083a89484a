"""Advice at midnight. Oracle: the project's rule for alarms: safe or unplug, the chocolate, what to check first."""

from __future__ import annotations

import re
from collections import defaultdict

import pytest

from bainboard import faults
from bainwright.evening.falling import FELL
from bainwright.evening.prompts import EveningPrompts
from bainwright.files.chocolate import load_profile
from bainwright.files.rig import load_rig
from bainwright.words import terms
from bainwright.words.advice import ADVICE, advise
from bainwright.words.plate import PHRASES

FAULTS = [row for row in faults.FAULTS if row[faults.NUMBER] != faults.NONE]
# Where the heat is on and one probe guards it, or the reading itself is in doubt, nobody knows that it is safe.
NOT_KNOWN = (faults.BOWL_PROBE, faults.BOWL_OUT, faults.SECOND_PROBE, faults.DISAGREE, faults.HEAT_CAPPED)
NAMES = [row[faults.NAME] for row in FAULTS]


@pytest.mark.parametrize("row", FAULTS, ids=NAMES)
def test_every_fault_of_the_board_has_its_advice(row: tuple) -> None:
    advice = ADVICE[row[faults.NUMBER]]
    assert all((advice.seen, advice.did, advice.safety, advice.first))
    assert all(line.endswith(".") for line in advice.lines())


@pytest.mark.parametrize("row", FAULTS, ids=NAMES)
def test_what_must_be_unplugged_says_so_in_words_and_what_is_safe_says_safe(row: tuple) -> None:
    safety = ADVICE[row[faults.NUMBER]].safety
    if row[faults.HAZARD] == faults.UNPLUG:
        assert "plug" in safety
        assert not safety.startswith("Safe")
    else:
        assert safety.startswith("Safe") == (row[faults.NUMBER] not in NOT_KNOWN)


@pytest.mark.parametrize("row", FAULTS, ids=NAMES)
def test_nothing_is_called_safe_until_it_is_known_that_the_water_does_not_rise(row: tuple) -> None:
    safety = advise(row[faults.NUMBER], sure=False).safety
    assert "safe" not in safety.lower().replace("not safe to leave", "")
    if row[faults.REACTION] != faults.WARN:
        assert "plug" in safety.lower()


@pytest.mark.parametrize("number", [faults.BOWL_PROBE, faults.BOWL_OUT, faults.SECOND_PROBE])
def test_a_witness_lost_says_that_one_probe_guards_the_heat_now(number: int) -> None:
    assert "only the water's own probe guards the heat" in advise(number).safety


def test_the_bit_of_unasked_heat_is_no_warning_but_says_that_it_is_not_known_to_be_safe() -> None:
    mask = 1 << faults.UNASKED_HEAT | 1 << faults.BOWL_PROBE
    assert terms.warnings(mask, "work") == [faults.BOWL_PROBE]
    assert not terms.sure(mask)
    assert terms.sure(1 << faults.BOWL_PROBE)


@pytest.mark.parametrize("row", FAULTS, ids=NAMES)
def test_what_latches_says_how_a_person_clears_it_and_nothing_else_does(row: tuple) -> None:
    did = ADVICE[row[faults.NUMBER]].did
    assert ("recessed button" in did) == (row[faults.REACTION] in (faults.LATCH, faults.RETEST))


def test_no_advice_outlives_its_fault() -> None:
    assert set(ADVICE) == {row[faults.NUMBER] for row in faults.FAULTS}


def test_a_number_this_version_does_not_know_reads_as_a_crash() -> None:
    assert advise(99) == ADVICE[faults.CRASHED]


@pytest.mark.parametrize("text", [
    *(line for row in FAULTS for line in advise(row[faults.NUMBER], "plate").lines()),
    *(terms.fault(row[faults.NUMBER], "plate") for row in FAULTS),
    *(terms.prompt(name, defaultdict(float), "plate") for name in terms.PROMPTS if name != "water_low"),
    *(terms.event(name, {"fault": row[faults.NUMBER]}, "seed", "plate") for name in ("warn", "trip") for row in FAULTS),
    *(terms.event(name, {}, "", "plate") for name in ("announced", "no_refill", "bath_ready", "another_pot")),
])  # fmt: skip
def test_on_a_plate_nobody_is_told_of_water(text: str) -> None:
    """A glass of cold water over a plate under power does harm. It has no float: that prompt is never asked."""
    assert not re.search("water|bath|pour(?!ed| the refill)|scald", text, re.IGNORECASE)


def test_a_chocolate_keeps_its_own_name_on_a_plate() -> None:
    assert "water" in terms.event("changed", {"name": "water"}, "", "plate")
    assert advise(faults.OVER_STAGE) == ADVICE[faults.OVER_STAGE]


def test_each_phrase_for_a_plate_is_of_some_text() -> None:
    cooled = EveningPrompts(load_profile("dark").tempered_by("cool"), load_rig("pot"))
    cooled.event("stage", {"stage": "cool"})
    texts = [*(line for advice in ADVICE.values() for line in advice.lines()), *terms.PROMPTS.values(),
             *(terms.event(name, {"fault": row[faults.NUMBER]}, stage) for name in ("warn", "trip") for row in FAULTS
               for stage in ("seed", "work")), *cooled.advice("denied"), FELL]
    assert not [wet for wet, _ in PHRASES if len(wet) > len("water") and not any(wet in text for text in texts)]
