"""Advice at midnight. Oracle: the project's rule for alarms: safe or unplug, the chocolate, what to check first."""

from __future__ import annotations

import pytest

from bainboard import faults
from bainwright.words.advice import ADVICE, advise

FAULTS = [row for row in faults.FAULTS if row[faults.NUMBER] != faults.NONE]
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
        assert safety.startswith("Safe")


@pytest.mark.parametrize("row", FAULTS, ids=NAMES)
def test_what_latches_says_how_a_person_clears_it_and_nothing_else_does(row: tuple) -> None:
    did = ADVICE[row[faults.NUMBER]].did
    assert ("recessed button" in did) == (row[faults.REACTION] in (faults.LATCH, faults.RETEST))


def test_no_advice_outlives_its_fault() -> None:
    assert set(ADVICE) == {row[faults.NUMBER] for row in faults.FAULTS}


def test_a_number_this_version_does_not_know_reads_as_a_crash() -> None:
    assert advise(99) is ADVICE[faults.CRASHED]
