"""Make a chocolate's file from what its bag says."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bainwright.chocolates.text import toml
from bainwright.core.atomic_write import save_file
from bainwright.core.errors import UseError
from bainwright.core.file_names import file_name
from bainwright.core.masses import parse_temp_c
from bainwright.core.toml import close_match
from bainwright.files.chocolate import CAPS, Profile, parse_profile

Read = Callable[[str], Any]  # turns what was typed into a value; raises BainError when it cannot
Ask = Callable[[str, str | None, Read], Any]  # a question, its default, and how the answer is read

COATINGS = ("compound", "coating", "glaze", "candy_melt")  # what bags call chocolate without cocoa butter


@dataclass(frozen=True)
class NewOptions:
    """The options as typed; temperatures may end in F."""

    name: str | None = None
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


def make(options: NewOptions, ask: Ask | None) -> tuple[Path, Profile]:
    """Ask for what is missing, check, and write the file.

    Parameters
    ----------
    options : NewOptions
        What was typed.
    ask : callable or None
        Asks the person, and repeats a question after a wrong answer; None without a terminal.

    Raises
    ------
    UseError, FileError
        For impossible figures, or a file that already exists.
    """
    if options.name is not None:
        name = _free(options.name, options.out)
    elif ask:
        name = ask("What is it called?", None, lambda text: _free(text.strip(), options.out))
    else:
        raise UseError("the chocolate has no name", wanted="bain profile new NAME")
    doc = _document(name, options, ask)
    path = _path(name, options.out)
    profile = parse_profile(doc, str(path))
    save_file(path, toml(doc), hint="name another file with --out")
    return path, profile


def _path(name: str, out: str | None) -> Path:
    return Path(out or f"{file_name(name, other='_')}.toml")


def _free(name: str, out: str | None) -> str:
    if out is None and Path(name).name != name:
        raise UseError("the chocolate's name", got=repr(name), wanted="a name, not a path",
                       hint="use --out for the file")
    path = _path(name, out)
    if path.exists():
        raise UseError(f"{path} already exists", hint="choose another with --out; a chocolate is never overwritten")
    # Any figures that are right: this checks the name alone.
    parse_profile({"name": name, "kind": "dark", "work": {"low_c": 31.0, "high_c": 32.0}}, str(path))
    return name


def _document(name: str, options: NewOptions, ask: Ask | None) -> dict[str, Any]:
    kind = _kind(options.kind, ask)
    doc: dict[str, Any] = {"name": name, "kind": kind, "source": "the maker's chart on the bag"}
    if kind == "melted":
        doc["of"] = _of(options.of, ask)
    elif options.of:
        raise UseError("--of is for melted stock", hint="leave it out, or give --kind melted")
    low_c = _needed(options.low, "--low", "The window's low end, °C?", ask, _temp)
    work = doc["work"] = {"low_c": low_c}

    def high(text: str, option: str) -> float:
        """The high end, checked now against the low end and the crystal's melting point, as the file will be."""
        high_c = _temp(text, option)
        parse_profile({**doc, "work": {"low_c": low_c, "high_c": high_c}}, name)
        return high_c

    work["high_c"] = _needed(options.high, "--high", "The window's high end, °C?", ask, high if ask else _temp)
    for key, text, option in (("target_c", options.target, "--target"), ("ceiling_c", options.ceiling, "--ceiling")):
        if text:
            work[key] = _temp(text, option)
    tops = (("melt_c", options.melt, "--melt"), ("never_above_c", options.never_above, "--never-above"))
    for key, text, option in tops:
        if text:
            doc[key] = _temp(text, option)
    if options.melt is None and ask and kind != "melted":
        doc["melt_c"] = ask("Melted at, °C?", f"{CAPS[kind].melt_c:g}", lambda text: _melt_c(text, doc))
    if options.note:
        doc["note"] = options.note
    test = {key: getattr(options, key) for key in ("set_min", "fail_min") if getattr(options, key) is not None}
    if test:
        doc["test"] = test
    doc["work"] = doc.pop("work")  # TOML wants tables last
    return doc


def _kind(kind: str | None, ask: Ask | None) -> str:
    """The kind, however people spell it."""
    if kind is not None:
        return _one_of(kind, "--kind", CAPS)
    if ask is None:
        raise UseError("which kind is it?", wanted="--kind " + ", ".join(CAPS), hint="milk if you do not know")
    return str(ask(f"Which kind is it? ({', '.join(CAPS)})", "milk", lambda text: _one_of(text, "the kind", CAPS)))


def _of(of: str | None, ask: Ask | None) -> str:
    """The kind of melted stock; milk when nobody knows, because it tolerates the least heat."""
    kinds = [kind for kind in CAPS if kind != "melted"]
    if of is not None:
        return _one_of(of, "--of", kinds)
    if ask is None:
        return "milk"
    question = f"Of which kind is the stock? ({', '.join(kinds)}; milk if you do not know)"
    return str(ask(question, "milk", lambda text: _one_of(text, "the stock's kind", kinds)))


def _one_of(text: str, what: str, kinds: Iterable[str]) -> str:
    kind = text.strip().lower().replace(" ", "_")
    if kind not in kinds and any(word in kind for word in COATINGS):
        raise UseError(what, got=repr(text), wanted="melted, for a coating that is melted and held, not tempered",
                       hint="bain profile about compound says more")
    if kind not in kinds:
        raise UseError(what, got=repr(text), wanted="one of " + ", ".join(kinds),
                       hint=close_match(kind, kinds) or "take milk if you do not know: it tolerates the least heat")
    return kind


def _needed(
    text: str | None, option: str, question: str, ask: Ask | None, read: Callable[[str, str], float]
) -> float:
    if text is not None:
        return read(text, option)
    if ask is None:
        raise UseError(f"{option} is missing", wanted="what the bag's chart says, °C or with an F")
    return float(ask(question, None, lambda typed: read(typed, f"the {option[2:]} end")))


def _melt_c(text: str, doc: dict[str, Any]) -> float:
    melt_c = _temp(text, "the melt")
    parse_profile({**doc, "melt_c": melt_c}, doc["name"])
    return melt_c


def _temp(text: str, option: str) -> float:
    return round(parse_temp_c(text, option, 15.0, 60.0), 2)
