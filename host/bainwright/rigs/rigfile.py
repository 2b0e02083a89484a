"""Writing a rig file: TOML with the meaning, unit and range of each figure beside it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bainboard import settings as board
from bainwright.files.pinout import pins_of
from bainwright.files.rig import REQUIRED
from bainwright.rigs.figures import Figure, figures, written

TABLES = (  # longest names first
    "probe.water", "probe.bowl", "probe.water2", "gains.water", "gains.bowl", "gains", "trip", "log",
)  # fmt: skip
COLUMN = 30  # where the words begin


def rig_text(values: Mapping[str, Any], given: Mapping[str, Any], plant: Mapping[str, Any] | None = None) -> str:
    """A rig file that gives what was given, and what every rig file must.

    Parameters
    ----------
    values : mapping
        A value for each setting.
    given : mapping
        The names somebody chose a value for.
    plant : mapping, optional
        What is known of the pot, for the ``[plant]`` table.
    """
    shown = [
        figure for figure in figures(values, given)
        if (figure.given or figure.name in REQUIRED) and figure.name != "pins"
    ]  # fmt: skip
    lines = [f"# The warmer {values['name']!r} as built. Change a figure here, then: bain rig send THIS_FILE", ""]
    lines += [_line(figure.name, figure) for figure in shown if table_of(figure.name) == ""]
    for table in sorted(TABLES, key=_order):
        inside = [figure for figure in shown if table_of(figure.name) == table]
        if inside:
            lines += ["", f"[{table}]", *(_line(figure.name.removeprefix(table + "."), figure) for figure in inside)]
    moved = pins_of(values)
    if moved:
        lines += ["", "[pins]", *(f"{name} = {gpio}" for name, gpio in moved.items())]
    if plant:
        lines += ["", "# The pot, for the plan and the simulated warmer; a board never gets it.", "[plant]"]
        lines += [f"{name} = {written(value)}" for name, value in plant.items()]
    return "\n".join(lines) + "\n"


def changed(values: Mapping[str, Any]) -> dict[str, Any]:
    """The settings that are not at their default."""
    default = board.defaults(board.SETTINGS)
    return {name: value for name, value in values.items() if value != default[name]}


def table_of(name: str) -> str:
    """The TOML table of a setting; an empty text for none."""
    return next((table for table in TABLES if name.startswith(table + ".")), "")


def _order(table: str) -> int:
    """The order of the tables is that of the board's settings."""
    return next((at for at, row in enumerate(board.SETTINGS) if table_of(str(row[board.NAME])) == table), 0)


def _line(key: str, figure: Figure) -> str:
    about = " ".join(part for part in (figure.unit, f"[{figure.range}]", figure.help) if part)
    return f"{f'{key} = {written(figure.value)}':<{COLUMN}} # {about}"
