"""Tonight's plan as a checklist, stored for the page: what to have ready, and each step with its time."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Literal

import msgspec

from bainwright.core.atomic_write import save_file
from bainwright.core.bounds import DurationS
from bainwright.core.home import home
from bainwright.core.masses import Shown
from bainwright.core.read_file import read_struct
from bainwright.plan.cautions import cautions
from bainwright.plan.heat_words import refills_due
from bainwright.plan.parts import Plan, Step
from bainwright.plan.temper_words import have_ready, step_line
from bainwright.plan.words import SOURCES_TITLE, headline, sections

FILE = "tonight.json"
STAGES = {"rewarm": "settle"}  # the board's names where the plan has its own
SHOWN = ("Look out", "Have ready", "Tonight's steps", SOURCES_TITLE)  # by the page itself, or not at all


class PlannedStep(msgspec.Struct, frozen=True):
    """One step: the board's name for it, what to do, how long it takes likely, and at most where that is known."""

    stage: str
    words: str
    likely_s: DurationS
    high_s: DurationS | None


class Tonight(msgspec.Struct, frozen=True):
    """A plan as the page shows it."""

    schema: Literal[1]  # a file of another version is refused
    made: str
    title: str
    ready: str
    look_out: tuple[str, ...]
    steps: tuple[PlannedStep, ...]
    chocolate: str = ""  # by name, as a hold has it
    warmer: str = ""
    refills: tuple[str, ...] = ()
    more: tuple[tuple[str, tuple[str, ...]], ...] = ()  # what else the plan says: titles and their lines


def tonight_of(plan: Plan, shown: Shown, made: datetime) -> Tonight:
    """The checklist of a plan.

    Parameters
    ----------
    plan : Plan
        The plan.
    shown : Shown
        The scales to show in.
    made : datetime
        When, in local time.
    """
    steps = tuple(_planned(plan, step, shown) for step in plan.steps)
    more = tuple((each.title, tuple(each.lines)) for each in sections(plan, shown) if each.title not in SHOWN)
    return Tonight(1, made.isoformat(timespec="minutes"), headline(plan, shown), have_ready(plan, shown),
                   tuple(cautions(plan, shown)), steps, plan.request.profile.name, plan.request.rig.name,
                   tuple(refills_due(plan, shown)), more)  # fmt: skip


def _planned(plan: Plan, step: Step, shown: Shown) -> PlannedStep:
    return PlannedStep(STAGES.get(step.name, step.name), step_line(plan, step, shown), step.lasts_s, step.high_s)


def store(tonight: Tonight) -> Path:
    """Store it for the page, in place of the one before.

    Raises
    ------
    FileError
        If it cannot be written.
    """
    path = home() / FILE
    path.parent.mkdir(parents=True, exist_ok=True)
    save_file(path, msgspec.json.encode(tonight), what="tonight's plan")
    return path


def stored() -> Tonight | None:
    """The plan that was stored last; None where there is none.

    Raises
    ------
    FileError
        If the file is damaged or of another version.
    """
    path = home() / FILE
    return read_struct(path, Tonight, "a plan for tonight") if path.exists() else None
