"""May this warmer be left overnight? What goes to the board with its settings, and what to say about it."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from bainwright.core.errors import RefusedError
from bainwright.drill.record import read_record, record_path, statuses, unfinished
from bainwright.files.documents import OPEN, PASSED, SIMULATED

OVERRIDDEN = "overridden"  # settings: drill
OVERNIGHT = "melted"  # the stage that is meant to run while people sleep
LONG_S = 4 * 3600.0  # an evening; chosen: a longer hold is warned about
NEXT = "run bain drill, an hour or more"


def cutoff_status(settings: Mapping[str, Any], simulated: bool, overridden: bool,
                  now: datetime.datetime | None = None, path: Path | None = None, *,
                  board: str = "", firmware: str | None = None) -> str:  # fmt: skip
    """The test status of trips and cut-outs, for the board's setting ``drill``.

    Parameters
    ----------
    settings : mapping
        The warmer's.
    simulated : bool
        A simulated warmer endangers nobody and needs no drill.
    overridden : bool
        The person chose to go without.
    now : datetime.datetime, optional
        With its time zone.
    path : Path, optional
        The record; by default the file of the warmer's name in this folder.
    board : str
        The id of the board. Two warmers may have one name and the same settings.
    firmware : str, optional
        What it names as its firmware.
    """
    if simulated:
        return SIMULATED
    record = read_record(path or record_path(str(settings["name"])))
    if record is not None and (record.simulated or record.board != board):
        record = None  # a simulated warmer's results say nothing about a real one, nor do another's
    now = now or datetime.datetime.now(datetime.UTC)
    if record is not None and not unfinished(statuses(record, settings, now, firmware)):
        return PASSED
    return OVERRIDDEN if overridden else OPEN


def refuse_overnight(status: str, stage: str, settings: Mapping[str, Any]) -> None:
    """Refuse an overnight hold on a warmer that is not safe to leave.

    Parameters
    ----------
    status : str
        Of the tests of trips and cut-outs, from `cutoff_status`.
    stage : str
        What is to be held.
    settings : mapping
        The warmer's.

    Raises
    ------
    RefusedError
        With what to do.
    """
    if stage != OVERNIGHT:
        return
    if not settings["guard"]:
        raise RefusedError("this warmer has no guard relay, so overnight holds are refused",
                           hint="fit one: a switch that fails closed would heat all night")  # fmt: skip
    if not has_witness(settings):
        raise RefusedError("nothing in this warmer can contradict its water probe, so overnight holds are refused",
                           hint="fit a chocolate probe or a second water probe, or let bain tune learn the warmer")
    if status == OPEN:
        raise RefusedError("not every trip and cut-out of this warmer has been tested, so overnight holds are refused",
                           hint=f"{NEXT}, on this board and its firmware: what others passed does not count; bain "
                                "drill --show lists what is open; --undrilled overrides")  # fmt: skip


def has_witness(settings: Mapping[str, Any]) -> bool:
    """Is there anything that shows when the water probe is wrong: another probe, or a learnt heat loss?"""
    return bool(settings["probe.bowl.kind"] != "none" or settings.get("probe.water2.kind", "none") != "none"
                or settings["gains.loss_w_per_k"] > 0.0)  # fmt: skip


def warnings(status: str, stage: str, for_s: float | None, settings: Mapping[str, Any]) -> list[str]:
    """What to say before a hold on a warmer that should not be left alone.

    Parameters
    ----------
    status, stage, settings
        As for `refuse_overnight`.
    for_s : float or None
        How long it holds; None until it is stopped.
    """
    found = []
    if not settings["guard"]:
        found.append("this warmer has no guard relay: if its switch fails closed, only the cut-out stops it. Stay near")
    if status == OVERRIDDEN and stage == OVERNIGHT:
        found.append("not every trip and cut-out of this warmer has been tested, and you said --undrilled: stay near; "
                     f"{NEXT}")
    elif status in (OPEN, OVERRIDDEN) and (for_s is None or for_s > LONG_S):
        found.append("a long hold, and not every trip and cut-out has been tested: do not leave the warmer alone; "
                     f"{NEXT}")
    return found
