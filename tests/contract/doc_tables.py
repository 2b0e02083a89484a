"""Tables in the documents that the code knows: each is written from the table it describes.

    python tests/contract/doc_tables.py

writes them between their markers. `test_docs.py` fails while a page differs from the code.
"""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterable
from pathlib import Path

import test_layers

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / "firmware"), str(ROOT / "host")]

from bainboard import commands, faults, flashlog, framing, help_text, settings, store, supervisor  # noqa: E402 - the path first

PAGES = ("DEVELOPERS.md", "firmware/WIRE.md", "firmware/FLASH.md", "firmware/SAFETY-RULES.md")
ENTRY_NAMES = ("ORIGIN", "STATUS", "EVENT", "HOLD")


def table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    """A Markdown table."""
    head = list(head)
    return "\n".join("| " + " | ".join(line) + " |" for line in [head, ["---"] * len(head), *map(list, rows)])


def _field(field: tuple) -> str:
    """One field of a request: its name, what it takes, and whether it may be left out."""
    name, kind, low, high, default = field
    if kind == commands.WORD:
        takes = " / ".join(f"`{word}`" for word in low)
    elif kind == commands.TEMP:
        takes = f"{low} to {high} m°C"
    elif kind == commands.HEX:
        takes = f"{low} lower-case hex digits"
    elif kind == commands.BASE64:
        takes = f"base64 of 1 to {high // 4 * 3} bytes"
    elif kind == commands.LETTERS:
        takes = f"text of {low} to {high} letters"
    else:
        takes = f"{low} to {high}"
    optional = {commands.NEEDED: "", None: "; optional"}.get(default, f"; default {default}")
    return f"`{name}`: {takes}{optional}"


def _states(allowed: tuple) -> str:
    return "any" if allowed == commands.STATES else ", ".join(allowed)


def requests() -> str:
    """Every request, from `commands.COMMANDS`."""
    return table(("do", "fields", "in states", "what it does"), (
        (f"`{name}`", "<br>".join(map(_field, fields)) or "-", _states(allowed), help_text.COMMANDS[name])
        for name, fields, allowed in commands.COMMANDS
    ))  # fmt: skip


def _bounds(row: tuple) -> str:
    _, kind, _, _, low, high = row
    if kind == settings.CHOICE:
        return " / ".join(f"`{word}`" if word else "(empty)" for word in low)
    if kind == settings.FLAG:
        return "yes / no"
    return f"{low:g} to {high:g}" if kind != settings.TEXT else f"{low} to {high} letters"


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else f"{value}" or "(empty)"


def _figures(rows: tuple, words: dict) -> str:
    return table(("name", "unit", "default", "range", "what it is", "source"), (
        (f"`{row[settings.NAME]}`", row[settings.UNIT], _value(row[settings.DEFAULT]), _bounds(row),
         *words[row[settings.NAME]]) for row in rows
    ))  # fmt: skip


def settings_table() -> str:
    """Every setting, from `settings.SETTINGS`."""
    return _figures(settings.SETTINGS, help_text.SETTINGS)


def profile_table() -> str:
    """Every figure of a chocolate, from `settings.PROFILE`."""
    return _figures(settings.PROFILE, help_text.PROFILE)


def fault_table() -> str:
    """Every fault, from `faults.FAULTS`."""
    return table(("number", "name", "reaction", "leave or unplug", "what was seen", "check first"), (
        (str(row[faults.NUMBER]), f"`{row[faults.NAME]}`", row[faults.REACTION], row[faults.HAZARD],
         *help_text.FAULTS[row[faults.NUMBER]]) for row in faults.FAULTS
    ))  # fmt: skip


def checks() -> str:
    """Every check of the supervisor, from `supervisor.CHECKS`; the detection time is its predicate's docstring."""
    names = {row[faults.NUMBER]: row[faults.NAME] for row in faults.FAULTS}
    return table(("fault", "check", "reaction", "detected after"), (
        (f"`{names[fault]}`" if fault else "-", seen.__name__.replace("_", " "), reaction,
         " ".join((seen.__doc__ or "").split())) for fault, seen, reaction in supervisor.CHECKS
    ))  # fmt: skip


def frame_kinds() -> str:
    """Every kind of frame, from `store.KINDS` and `flashlog.KIND`."""
    rows = [(str(kind), f"`{name}`", f"`/{name}.a`, `/{name}.b`") for name, kind in store.KINDS.items()]
    return table(("kind", "what", "files"), [*rows, (str(flashlog.KIND), "`log`", "`/log/NNNNNNNNNN.seg`")])


def entry_kinds() -> str:
    """Every kind of entry in a frame of the log."""
    return table(("kind", "entry"), ((str(getattr(flashlog, name)), name) for name in ENTRY_NAMES))


def log_numbers() -> str:
    """The numbers that a STATUS entry gives for states and steps."""
    return table(("number", "state", "step"), (
        (str(at), flashlog.STATES[at] if at < len(flashlog.STATES) else "-", flashlog.STAGES[at] or "(none)")
        for at in range(len(flashlog.STAGES))
    ))  # fmt: skip


def frame_layout() -> str:
    """The bytes of a frame."""
    return table(("offset", "bytes", "what"), (
        ("0", "2", f"magic {framing.MAGIC[0]:02X}h {framing.MAGIC[1]:02X}h"),
        ("2", "1", "kind"),
        ("3", "4", "sequence"),
        ("7", "2", f"length of the payload, at most {framing.MAX_PAYLOAD}"),
        (str(framing.HEAD_BYTES), "length", "payload"),
        (f"{framing.HEAD_BYTES} + length", "4", "CRC-32 of everything before it, the magic included"),
    ))  # fmt: skip


def rooms() -> str:
    """Every room of the host, lowest last: what its docstring says of it, and its modules."""
    home = ROOT / "host" / "bainwright"

    def row(name: str) -> tuple[str, str, str]:
        first = ast.get_docstring(ast.parse((home / name / "__init__.py").read_text(encoding="utf-8"))) or ""
        modules = sorted(path.stem for path in (home / name).glob("*.py") if path.stem != "__init__")
        return f"{name}/", first.split("\n\n")[0].replace("\n", " "), " ".join(modules)

    return table(("room", "what it is for", "modules"), (row(name) for name in reversed(test_layers.ROOMS[:-1])))


TABLES = {
    "rooms": rooms,
    "requests": requests, "settings": settings_table, "profile": profile_table, "faults": fault_table, "checks": checks,
    "frame kinds": frame_kinds, "frame layout": frame_layout, "entry kinds": entry_kinds, "log numbers": log_numbers,
}  # fmt: skip
BLOCK = re.compile(r"<!-- table: ([a-z ]+) -->\n.*?<!-- end of table -->", re.DOTALL)


def written(text: str) -> str:
    """A page with each of its tables as the code has it."""
    return BLOCK.sub(lambda block: f"<!-- table: {block[1]} -->\n{TABLES[block[1]]()}\n<!-- end of table -->", text)


def main() -> None:
    """Write every page."""
    for name in PAGES:
        page = ROOT / name
        page.write_text(written(page.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    main()
