"""What people entered by hand for a hold, brought in from its copy: leftovers and temper tests."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import msgspec

from bainwright.core.atomic_write import alone
from bainwright.core.errors import FileError
from bainwright.record.leftovers import STOCK, judge, read_leftovers, save_leftovers, united
from bainwright.record.names import TESTS
from bainwright.record.taken_back import forget_step_back
from bainwright.record.temper_tests import TemperTest, read_tests, save_tests


def bring_entries(here: Path, coming: Path) -> tuple[list[str], list[str]]:
    """Add what was entered for the same hold elsewhere; of two entries for one thing the one here stays.

    Parameters
    ----------
    here, coming : Path
        The hold's folder, and the copy's.

    Returns
    -------
    tuple of list of str
        What was added, and why something was not.
    """
    added, left_out = [], []
    ways: dict[str, Callable[[Path, Path], bool]] = {"leftovers": _bring_leftovers, "temper tests": _bring_tests}
    with alone(here):
        for what, bring in ways.items():
            try:
                added += [what] if bring(here, coming) else []
            except FileError as failed:
                left_out.append(f"{what}: {failed.words().replace(str(coming), 'the copy')}")
    return added, left_out


def _bring_leftovers(here: Path, coming: Path) -> bool:
    """Whatever got into one of the two counts; masses stay as they are here."""
    other, own = read_leftovers(coming), read_leftovers(here)
    if other is None:
        return False
    left = other if own is None else united(own, other)
    if left == own:
        return False
    if own is not None and left.never_above_c is not None:
        verdict, why = judge(left, left.never_above_c)
        left = msgspec.structs.replace(left, verdict=verdict, why=why)
    save_leftovers(here, left)
    forget_step_back(here / STOCK)
    return True


def _bring_tests(here: Path, coming: Path) -> bool:
    """Tests that are not here, and the looks of one that has none here."""
    own = read_tests(here)
    found = list(own)
    for test in read_tests(coming):
        plain = replace(test, gloss=None, streaks=None, verdict="")
        same = [at for at, each in enumerate(found) if replace(each, gloss=None, streaks=None, verdict="") == plain]
        if not same:
            found.append(test)
        elif _has_looks(test) and not any(_has_looks(found[at]) for at in same):
            found[same[-1]] = test
    found.sort(key=lambda test: test.t_s)
    if found == own:
        return False
    save_tests(here, found)
    forget_step_back(here / TESTS)
    return True


def _has_looks(test: TemperTest) -> bool:
    return test.gloss is not None or test.streaks is not None
