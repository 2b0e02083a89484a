"""A chocolate's file from what its bag says."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bainwright.chocolate import CAPS, Profile, parse_profile
from bainwright.errors import UseError
from bainwright.oswords import reason
from bainwright.plan.measures import parse_temp_c

Ask = Callable[[str, str | None], str]  # a question and what is taken when nothing is typed


@dataclass(frozen=True)
class NewAsked:
    """The options as typed; temperatures may end in F."""

    name: str
    kind: str | None = None
    of: str | None = None
    low: str | None = None
    high: str | None = None
    target: str | None = None
    melt: str | None = None
    ceiling: str | None = None
    never_above: str | None = None
    set_min: float | None = None
    fail_min: float | None = None
    note: str | None = None
    out: str | None = None


def make(asked: NewAsked, ask: Ask | None) -> tuple[Path, Profile]:
    """Ask for what is missing, check, and write the file.

    Parameters
    ----------
    asked : NewAsked
        What was typed.
    ask : callable or None
        Asks the person; None where nobody sits at a terminal.

    Raises
    ------
    UseError, FileError
        For figures that cannot be, or a file that is there already.
    """
    path = Path(asked.out or f"{asked.name.replace(' ', '_')}.toml")
    if path.exists():
        raise UseError(f"{path} is there already", hint="name another with --out; a chocolate is never written over")
    doc = _document(asked, ask)
    profile = parse_profile(doc, str(path))
    try:
        path.write_text(_toml(doc), encoding="utf-8")
    except OSError as failed:
        raise UseError(f"{path} cannot be written", got=reason(failed)) from failed
    return path, profile


def _document(asked: NewAsked, ask: Ask | None) -> dict[str, Any]:
    kind = _kind(asked.kind, ask)
    doc: dict[str, Any] = {"name": asked.name, "kind": kind, "source": "the maker's chart on the bag"}
    if kind == "melted":
        doc["of"] = asked.of or (ask("Which kind is it? (milk if you do not know)", "milk") if ask else "milk")
    elif asked.of:
        raise UseError("--of is for melted stock", hint="leave it out, or give --kind melted")
    work = {
        "low_c": _needed(asked.low, "--low", "The window's low end, °C?", ask),
        "high_c": _needed(asked.high, "--high", "The window's high end, °C?", ask),
    }
    for name, text, option in (("target_c", asked.target, "--target"), ("ceiling_c", asked.ceiling, "--ceiling")):
        if text:
            work[name] = _temp(text, option)
    melt = asked.melt
    if melt is None and ask and kind != "melted":
        melt = ask("Melted at, °C?", f"{CAPS[kind].melt_c:g}")
    for name, value, option in (("melt_c", melt, "--melt"), ("never_above_c", asked.never_above, "--never-above")):
        if value:
            doc[name] = _temp(value, option)
    if asked.note:
        doc["note"] = asked.note
    doc["work"] = work
    test = {name: getattr(asked, name) for name in ("set_min", "fail_min") if getattr(asked, name) is not None}
    if test:
        doc["test"] = test
    return doc


def _kind(kind: str | None, ask: Ask | None) -> str:
    """The kind; spelt as people write it."""
    if kind is None:
        if ask is None:
            raise UseError("which kind is it?", wanted="--kind " + ", ".join(CAPS), hint="milk if you do not know")
        kind = ask(f"Which kind is it? ({', '.join(CAPS)})", "milk")
    return kind.strip().lower().replace(" ", "_")


def _needed(text: str | None, option: str, question: str, ask: Ask | None) -> float:
    if text is None:
        if ask is None:
            raise UseError(f"{option} is missing", wanted="what the bag's chart says, °C or with an F")
        text = ask(question, None)
    return _temp(text, option)


def _temp(text: str, option: str) -> float:
    return round(parse_temp_c(text, option, 15.0, 60.0), 2)


def _toml(doc: dict[str, Any]) -> str:
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
