"""The settings of a rig as a table a person reads: value, unit, range, and what it means."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from bainboard import help_text
from bainboard import settings as board

WHOLE = "\u00a0"  # a space that no line is broken at
NAME_CELLS, VALUE_CELLS = 26, 14  # of the table's columns; what the setting means gets the rest
OWN = {
    "rom": "onewire", "r25_ohm": "ntc", "beta_k": "ntc", "series_ohm": "ntc",
    "r0_ohm": "platinum", "reference_ohm": "platinum", "wires": "platinum",
}  # fmt: skip


@dataclass(frozen=True)
class Figure:
    """One setting.

    Attributes
    ----------
    name, unit, range, help : str
        In words a person reads.
    value : object
        Its value.
    given : bool
        Did someone give it? Else it is the default.
    """

    name: str
    value: Any
    unit: str
    range: str
    help: str
    given: bool

    def lines(self, columns: int) -> list[str]:
        """Its row of the table, folded to a terminal's width; a default is in brackets."""
        shown = written(self.value) if self.given else f"({written(self.value)})"
        head = f"{self.name:<{NAME_CELLS}} {f'{shown} {self.unit}'.rstrip():<{VALUE_CELLS}} "
        indent = " " * (NAME_CELLS + VALUE_CELLS + 2)
        whole = self.range.replace(" ", WHOLE)  # a range is not broken over two lines
        folded = textwrap.wrap(f"{self.help} [{whole}]", max(columns, len(indent) + 30), initial_indent=head,
                               subsequent_indent=indent, break_long_words=False)  # fmt: skip
        return [line.replace(WHOLE, " ") for line in folded]


def figures(values: Mapping[str, Any], given: Mapping[str, Any]) -> list[Figure]:
    """Every setting that has a meaning on this rig, in the table's order.

    Parameters
    ----------
    values : mapping
        A value for each.
    given : mapping
        Those that someone gave; the rest are defaults.
    """
    return [
        Figure(name, values[name], str(row[board.UNIT]), range_of(row), help_text.SETTINGS[name][0], name in given)
        for row in board.SETTINGS
        for name in [str(row[board.NAME])]
        if needed(values, name)
    ]


def range_of(row: tuple[Any, ...]) -> str:
    """The range of a setting, in words."""
    low, high = row[board.LOW], row[board.HIGH]
    if row[board.KIND] == board.CHOICE:
        return ", ".join(low)
    if row[board.KIND] == board.FLAG:
        return "true, false"
    if row[board.KIND] == board.TEXT:
        return f"none or {high}" if row[board.UNIT] == board.HEX else f"up to {high} letters"
    return f"{low:g} to {high:g}"


def written(value: Any) -> str:
    """A value in TOML."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return f'"{value}"' if isinstance(value, str) else repr(value)


def needed(values: Mapping[str, Any], name: str) -> bool:
    """Has this setting a meaning on this rig? A digital probe has no resistors, a thermistor no id."""
    parts = name.split(".")
    if parts[0] != "probe" or parts[2] == "kind":
        return True
    kind = values[f"probe.{parts[1]}.kind"]
    return bool(kind != "none" and kind == OWN.get(parts[2], kind))
