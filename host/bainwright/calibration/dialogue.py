"""A calibration with the person: bath by bath, each step skipped with Return, each mistake asked again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from bainwright.calibration import reading
from bainwright.calibration.fit import boil_known, ice_known
from bainwright.calibration.measure import Report, identify_probes, measure_bath
from bainwright.calibration.options import fever_bath
from bainwright.calibration.warmer import Warmer
from bainwright.core.errors import BainError, LinkError
from bainwright.core.masses import parse_metres
from bainwright.link.protocol import Link

Ask = Callable[[str], str]  # a question; what was typed, empty for nothing


@dataclass(frozen=True)
class Step:
    """One step: what the person is asked, and what is done with the answer."""

    question: str
    act: Callable[[str], None]
    both_probes: bool = False  # only for a warmer with two


def converse(warmer: Warmer, link: Link, pressure_hpa: float | None, ask: Ask, report: Report) -> None:
    """Go through every step.

    Parameters
    ----------
    warmer : Warmer
        The warmer, its heat locked out.
    link : Link
        Its board.
    pressure_hpa : float or None
        A barometer's, if one was given; else the altitude is asked for.
    ask, report : callable
        Asks the person, and shows them a line.

    Raises
    ------
    LinkError
        If the board is gone; what was measured before is stored.
    """
    both = len(reading.places_of(warmer.settings)) > 1
    report("the heat is locked out. Return skips a step; what was measured stays stored when you stop.")
    for step in _steps(warmer, link, pressure_hpa, report):
        if both or not step.both_probes:
            _do(step, ask, report)
    if not both:
        report("no probe is in the chocolate. In a hold, once it is steady, measure it by hand: bain calibrate "
               "--bowl 31.4, three times over an hour")


def _steps(warmer: Warmer, link: Link, pressure_hpa: float | None, report: Report) -> tuple[Step, ...]:
    return (
        Step("1. Stir water at 37 to 39 °C and hold every probe beside a fever thermometer. What does it show? "
             "(38.2 or 100.8F)",
             lambda typed: measure_bath(warmer, link, fever_bath(typed, "the fever thermometer"), report)),
        Step("Which is which: type go, then lift only the chocolate probe out of the warm bath.",
             lambda typed: identify_probes(warmer, link, "bowl", report), both_probes=True),
        Step("2. Crushed ice, water to its top, stirred for two minutes, probes off the walls. Type ice when they are "
             "in.", lambda typed: measure_bath(warmer, link, ice_known(), report)),
        Step("3. A rolling boil, probes off the floor, hands out of the steam. How many metres above sea level?",
             lambda typed: measure_bath(warmer, link, boil_known(parse_metres(typed, "the altitude"), pressure_hpa),
                                        report)),
    )  # fmt: skip


def _do(step: Step, ask: Ask, report: Report) -> None:
    while typed := ask(step.question).strip():
        try:
            step.act(typed)
            return
        except LinkError:
            raise
        except BainError as failed:
            report(str(failed))
