"""Record what an evening left, or show what is recorded."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import msgspec

from bainboard import stages
from bainwright.archive.finding import folder_named
from bainwright.core.atomic_write import alone
from bainwright.core.bounds import most
from bainwright.core.errors import FileError, UseError
from bainwright.core.home import holds_folder, home, remember
from bainwright.core.json_text import json_text
from bainwright.core.masses import Shown, parse_mass_kg
from bainwright.core.progress import progress
from bainwright.files.chocolate import CAPS
from bainwright.plan.compare import melt_factor, seed_factor
from bainwright.plan.past_evenings import PastEvenings, changed_s, hold_id, peak_c
from bainwright.record.leftovers import (
    DISCARD,
    NOT_FIT,
    NOT_KNOWN,
    STOCK,
    Leftovers,
    judge,
    most_c,
    read_leftovers,
    save_leftovers,
    united,
)
from bainwright.record.names import FACTS
from bainwright.record.reader import HoldLog, read_log
from bainwright.record.taken_back import take_back
from bainwright.record.temper_tests import chocolate_at
from bainwright.words import terms

MOST_KG = most("chocolate_kg")
Say = Callable[..., None]


@dataclass(frozen=True)
class StockOptions:
    """The options as typed."""

    hold: str | None
    left: str | None = None
    melt: str | None = None
    seed: str | None = None
    of: str | None = None
    water: bool = False
    grains: bool = False
    allergens: tuple[str, ...] = ()
    undo: bool = False


def run_stock(options: StockOptions, shown: Shown, *, as_json: bool, say: Say) -> int:
    """`bain stock`.

    Returns
    -------
    int
        The exit status: 1 when something shown is not known to be fit to temper again, or a record is damaged.
    """
    notes: list[str] = []
    found = _found(options, notes)
    for note in notes:
        say(f"bain: {note}", err=True)
    if as_json:
        rows = [{"folder": str(at), **msgspec.to_builtins(left)} for at, left in found]
        say(json_text(rows))
    else:
        for at, left in found:
            say(f"{at.name if at.parent == holds_folder() else at}: {left.words(shown)}")
    if not found and not notes:
        where = f"in {home()}" if options.hold is None else f"for {options.hold}"
        say(f"bain: nothing is recorded {where}; --left 640g records what an evening left", err=True)
    return 1 if notes or any(left.verdict in (DISCARD, NOT_FIT, NOT_KNOWN) for _, left in found) else 0


def _found(options: StockOptions, notes: list[str]) -> list[tuple[Path, Leftovers]]:
    """The records to show, the one that was just entered among them."""
    if options.hold is None:
        if _has_entry(options) or options.undo:
            raise UseError("which evening?", wanted="a hold's name or folder", hint="bain holds lists them")
        return _recorded(notes)
    folder = folder_named(options.hold)
    if options.undo:
        if _has_entry(options):
            raise UseError("--undo takes the last entry back and enters nothing", hint="leave the other options out")
        with alone(folder):
            take_back(folder / STOCK, "mass or mishap")
    if _has_entry(options):
        with alone(folder):  # a mishap that was entered at the same moment stays
            left: Leftovers | None = _entered(folder, options)
    else:
        left = read_leftovers(folder)
    return [(folder, PastEvenings().judged(folder, left))] if left else []


def _recorded(notes: list[str]) -> list[tuple[Path, Leftovers]]:
    """Everything recorded; a damaged record is named and hides no other."""
    with progress("reading what evenings left"):
        past = PastEvenings(notes)
        return [(folder, past.judged(folder, left)) for folder, left in past.records]


def _has_entry(options: StockOptions) -> bool:
    return bool(options.left or options.melt or options.seed or options.of or options.water or options.grains
                or options.allergens)  # fmt: skip


def _entered(folder: Path, options: StockOptions) -> Leftovers:
    """The record with what was typed added, and saved; a mishap once entered stays."""
    log = read_log(folder)
    if not isinstance(log.facts.get("profile"), dict) or "kind" not in log.facts["profile"]:
        raise FileError(f"{FACTS} does not say which chocolate this was", hint="a hold's folder of this version has it")
    last = chocolate_at(log.events, log.facts, float("inf"))  # what is left is of the last bowl
    before = read_leftovers(folder) or Leftovers(str(last.get("name")), str(last["kind"]))
    since_s = changed_s(log)
    left = _added(before, options, log, since_s)
    if of := _earlier(options.of, before, folder):
        left = _melted_again(left, *of)
    if since_s and (options.melt or options.seed):
        raise UseError("the bowl was changed during this evening, and the log has no seeding of the second one",
                       hint="leave --melt and --seed out")  # fmt: skip
    left.seed_factor = None if since_s else _seed_factor(left, log)
    left.melt_factor = None if since_s or left.melt_kg is None else melt_factor(left.melt_kg, log)
    _check_fits(options, log)
    limit_c = float(last.get("never_above_c", CAPS["milk"].never_above_c))
    left.never_above_c = min(limit_c, left.never_above_c or limit_c)
    left.verdict, left.why = judge(left, left.never_above_c)
    save_leftovers(folder, left)
    return left


def _added(before: Leftovers, options: StockOptions, log: HoldLog, since_s: float) -> Leftovers:
    changes: dict[str, Any] = {
        "left_kg": _mass(options.left, "--left", before.left_kg),
        "melt_kg": _mass(options.melt, "--melt", before.melt_kg),
        "seed_kg": _mass(options.seed, "--seed", before.seed_kg),
        "rig": str((log.facts.get("rig") or {}).get("name", "")),
        "water": before.water or options.water,
        "grains": before.grains or options.grains,
        "allergens": sorted({*before.allergens, *map(_allergen, options.allergens)}),
        "peak_c": most_c(peak_c(log, since_s), before.peak_c),
        "at": datetime.now(UTC).isoformat(timespec="seconds"),
    }
    return msgspec.structs.replace(before, **changes)


def _melted_again(left: Leftovers, folder: Path, earlier: Leftovers) -> Leftovers:
    """The record with what an evening brought whose leftovers were melted again for this one."""
    return msgspec.structs.replace(united(left, earlier), of=folder.absolute().name, of_hold=hold_id(folder),
                                   times_melted=1 + earlier.times_melted)  # fmt: skip


def _allergen(text: str) -> str:
    """What got into it, as it was typed."""
    if not text.strip() or not text.isprintable():
        raise UseError("--allergen", got=repr(text), wanted="what else got into it", hint="for instance hazelnut")
    return text.strip()


def _mass(text: str | None, option: str, before: float | None) -> float | None:
    return before if text is None else parse_mass_kg(text, option, 0.0, MOST_KG)


def _check_fits(options: StockOptions, log: HoldLog) -> None:
    """More left than the bowl holds is a mistyped unit."""
    full_kg = (log.facts.get("rig") or {}).get("chocolate_kg")
    if options.left is None or full_kg is None:
        return
    left_kg = parse_mass_kg(options.left, "--left", 0.0, MOST_KG)
    if left_kg > full_kg:
        raise UseError("--left", got=f"{left_kg:.2f} kg", wanted=f"at most {full_kg:.2f} kg, what the bowl holds",
                       hint="check the number and its unit")  # fmt: skip


def _earlier(name: str | None, before: Leftovers, folder: Path) -> tuple[Path, Leftovers] | None:
    """The evening whose leftovers were melted again for this one: its folder and record."""
    if name is None:
        return None
    other = folder_named(name)
    if hold_id(other) == hold_id(folder):
        raise UseError("--of names this evening itself", hint="name the one before, whose leftovers were melted again")
    earlier = read_leftovers(other)
    if earlier is None:
        raise UseError(f"nothing is recorded for {name}", hint=f"bain stock {name} --left 640g first")
    past = PastEvenings()
    if past.go_back_to(other, earlier, folder):
        raise UseError(f"what {name} melted came from this evening itself", hint="name the one before this one")
    if earlier.kind != before.kind:
        raise UseError(f"{name} left {terms.kind(earlier.kind)}", wanted=terms.kind(before.kind),
                       hint="two kinds melted together are neither")  # fmt: skip
    if note := remember(other):  # it must be found again for what is entered there later
        raise FileError(note, hint="bain gather brings it in")
    return other, past.judged(other, earlier)


def _seed_factor(left: Leftovers, log: HoldLog) -> float | None:
    """Seed used over planned, once both masses are known."""
    if left.melt_kg is None and left.seed_kg is None:
        return None
    if left.melt_kg is None or left.seed_kg is None:
        raise UseError("seed is compared with its melt", wanted="--melt MASS and --seed MASS",
                       hint="the melt as it was before any seed went in")  # fmt: skip
    if (log["stage"] == stages.COOL).any() and not (log["stage"] == stages.SEED).any():
        raise UseError("this evening was cooled and warmed back, so it took no seed",
                       hint="leave --melt and --seed out")  # fmt: skip
    return seed_factor(left.melt_kg, left.seed_kg, log)
