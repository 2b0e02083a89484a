"""A chocolate as the TOML file that a person may edit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bainwright.files.chocolate import BY_COOLING

TABLES = {"low_c": "work", "target_c": "work", "high_c": "work", "ceiling_c": "work",
          "set_min": "test", "fail_min": "test"}  # fmt: skip
TEMPERED = ("melt_c", "keep_c", "set_min", "fail_min")  # figures that melted stock does not have


def file_of(values: Mapping[str, Any]) -> dict[str, Any]:
    """A board's flat document, in the tables of a chocolate's file."""
    doc: dict[str, Any] = {}
    for name, value in values.items():
        if values.get("kind") == "melted" and name in TEMPERED:
            continue
        if name == "cool_c":  # the file says it as a method, and where the method cools to
            doc |= {"method": BY_COOLING, "cool": {"high_c": value}} if value else {}
            continue
        table = doc.setdefault(TABLES[name], {}) if name in TABLES else doc
        table[name] = value
    return doc


def toml(doc: Mapping[str, Any]) -> str:
    """A flat document with tables, as TOML."""
    lines = [f"{name} = {_value(value)}" for name, value in doc.items() if not isinstance(value, dict)]
    for name, table in doc.items():
        if isinstance(table, dict):
            lines += ["", f"[{name}]", *(f"{key} = {_value(value)}" for key, value in table.items())]
    return "\n".join(lines) + "\n"


def _value(value: Any) -> str:
    if isinstance(value, str):
        escaped = "".join(c if c.isprintable() and c not in '"\\' else f"\\u{ord(c):04X}" for c in value)
        return f'"{escaped}"'
    return repr(value)
