"""Record what an evening left, or show what is recorded."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from bainboard import stages
from bainwright.archive.finding import LAST, YESTERDAY, folder_named
from bainwright.archive.identity import identity
from bainwright.archive.listing import list_holds
from bainwright.core.atomic_write import alone
from bainwright.core.bounds import COLDEST_C, HOTTEST_C, most
from bainwright.core.errors import BainError, FileError, UseError
from bainwright.core.home import hold_folders, holds_folder, home
from bainwright.core.masses import Shown, parse_mass_kg
from bainwright.files.chocolate import CAPS
from bainwright.plan.compare import melt_factor, seed_factor
from bainwright.plan.leftovers import (
    DISCARD,
    FIT,
    KEEP_APART,
    NOT_FIT,
    NOT_KNOWN,
    STOCK,
    Leftovers,
    judge,
    read_leftovers,
    save_leftovers,
)
from bainwright.record.names import FACTS
from bainwright.record.reader import HoldLog, read_facts, read_log
from bainwright.record.taken_back import take_back
from bainwright.record.temper_tests import chocolate_at
from bainwright.words import terms

LOST_PAST = ("not known what else got into it: the record of {}, whose leftovers these are, is not here or cannot be "
             "read. As far as is known it is ")  # fmt: skip
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
        say(json.dumps(rows, indent=2, ensure_ascii=False))
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
    return [(folder, judged_with_its_past(left, folder))] if left else []


def _recorded(notes: list[str]) -> list[tuple[Path, Leftovers]]:
    """Everything recorded; a damaged record is named and hides no other."""
    found = []
    for folder in hold_folders(notes):
        try:
            left = read_leftovers(folder)
        except FileError as failed:
            notes.append(str(failed))
            continue
        found += [(folder, judged_with_its_past(left, folder))] if left else []
    return found


def judged_with_its_past(left: Leftovers, folder: Path) -> Leftovers:
    """The record with what is known by now of its evening and of those it goes back to, judged again."""
    found = _with_its_log(left, folder)
    before, missing = _evenings_before(left)
    for earlier in before:
        found = msgspec.structs.replace(
            found, water=found.water or earlier.water, grains=found.grains or earlier.grains,
            allergens=sorted({*found.allergens, *earlier.allergens}), peak_c=_most_c(found.peak_c, earlier.peak_c),
            never_above_c=_least_c(found.never_above_c, earlier.never_above_c))  # fmt: skip
    verdict, why = left.verdict, left.why
    if found != left and found.never_above_c is not None:
        verdict, why = judge(found, found.never_above_c)
    if missing and verdict in (FIT, KEEP_APART):
        verdict, why = NOT_KNOWN, LOST_PAST.format(missing) + why
    return msgspec.structs.replace(found, verdict=verdict, why=why)


def _with_its_log(left: Leftovers, folder: Path) -> Leftovers:
    """The record with the warmest reading by now: it may have been entered before the hold was over, or collected."""
    try:
        log = read_log(folder)
    except BainError:  # gone, or damaged: what was known at the entry stays
        return left
    if str(chocolate_at(log.events, log.facts, float("inf")).get("name")) != left.name:  # another bowl came since
        return left
    return msgspec.structs.replace(left, peak_c=_most_c(left.peak_c, _peak_c(log, _changed_s(log))))


def _evenings_before(left: Leftovers) -> tuple[list[Leftovers], str]:
    """The records that leftovers go back to, and the first one that is not here or cannot be read; a circle ends."""
    found: list[Leftovers] = []
    for _ in range(left.times_melted):
        if not left.of:
            break
        folder = _folder_of(left)
        try:
            earlier = read_leftovers(folder) if folder is not None else None
        except BainError:
            earlier = None
        if folder is None or earlier is None:
            return found, left.of
        found.append(_with_its_log(earlier, folder))
        left = earlier
    return found, ""


def _folder_of(left: Leftovers) -> Path | None:
    """Where the evening is whose leftovers these are: where it was, or wherever it is by its board and number."""
    if not left.of_hold:  # the start was not known; or an older entry, whose words may mean another evening by now
        changing = left.of in (LAST, YESTERDAY) or (os.path.basename(left.of) != left.of and not os.path.isabs(left.of))
        with contextlib.suppress(BainError):
            return None if changing else folder_named(left.of)
        return None
    board, number = json.loads(left.of_hold)[:2]
    others = (Path(each.folder) for each in list_holds() if (each.board, each.hold) == (board or "", number))
    for folder in (holds_folder() / left.of, *others):
        with contextlib.suppress(BainError):
            if folder.is_dir() and identity(folder) == left.of_hold:
                return folder
    return None


def _named(folder: Path) -> dict[str, str]:
    """The evening that was melted again, so that no other is taken for it later, or elsewhere."""
    whole = folder.resolve()
    return {"of": whole.name if whole.parent == holds_folder().resolve() else str(whole),
            "of_hold": identity(folder) if read_facts(folder).get("started") else ""}  # fmt: skip


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
    changed_s = _changed_s(log)
    left = _added(before, options, _earlier(options.of, before, folder), log, changed_s)
    if changed_s and (options.melt or options.seed):
        raise UseError("the bowl was changed during this evening, and the log has no seeding of the second one",
                       hint="leave --melt and --seed out")  # fmt: skip
    left.seed_factor = None if changed_s else _seed_factor(left, log)
    left.melt_factor = None if changed_s or left.melt_kg is None else melt_factor(left.melt_kg, log)
    _check_fits(options, log)
    limit_c = float(last.get("never_above_c", CAPS["milk"].never_above_c))
    left.never_above_c = min(limit_c, left.never_above_c or limit_c)
    left.verdict, left.why = judge(left, left.never_above_c)
    save_leftovers(folder, left)
    return left


def _added(
    before: Leftovers, options: StockOptions, earlier: Leftovers | None, log: HoldLog, since_s: float
) -> Leftovers:
    changes: dict[str, Any] = {
        "left_kg": _mass(options.left, "--left", before.left_kg),
        "melt_kg": _mass(options.melt, "--melt", before.melt_kg),
        "seed_kg": _mass(options.seed, "--seed", before.seed_kg),
        "rig": str((log.facts.get("rig") or {}).get("name", "")),
        **(_named(folder_named(options.of)) if options.of else {}),
        "times_melted": 1 + earlier.times_melted if earlier else before.times_melted,
        "water": before.water or options.water or bool(earlier and earlier.water),
        "grains": before.grains or options.grains or bool(earlier and earlier.grains),
        "allergens": sorted({*before.allergens, *map(_allergen, options.allergens),
                             *(earlier.allergens if earlier else [])}),
        "peak_c": _most_c(_peak_c(log, since_s), before.peak_c, earlier.peak_c if earlier else None),
        "never_above_c": _least_c(before.never_above_c, earlier.never_above_c if earlier else None),
        "at": datetime.now(UTC).isoformat(timespec="seconds"),
    }
    return msgspec.structs.replace(before, **changes)


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


def _changed_s(log: HoldLog) -> float:
    """When its last bowl came, s; 0 where it had one only."""
    return max((float(event["t_s"]) for event in log.events if event.get("event") == "changed"), default=0.0)


def _peak_c(log: HoldLog, since_s: float) -> float | None:
    """The warmest reading; None where a probe was in the bowl for less than half of the time."""
    bowl_c, part = log["bowl_c"], log["t_s"] >= since_s
    measured = part & (np.nan_to_num(log["bowl_estimated"]) == 0) & (bowl_c >= COLDEST_C) & (bowl_c <= HOTTEST_C)
    return float(bowl_c[measured].max()) if 2 * measured.sum() >= max(1, part.sum()) else None


def _most_c(*temps_c: float | None) -> float | None:
    return max((temp_c for temp_c in temps_c if temp_c is not None), default=None)


def _least_c(*temps_c: float | None) -> float | None:
    return min((temp_c for temp_c in temps_c if temp_c is not None), default=None)


def _earlier(name: str | None, before: Leftovers, folder: Path) -> Leftovers | None:
    """The record of the evening whose leftovers were melted again for this one."""
    if name is None:
        return None
    other = folder_named(name)
    if other.resolve() == folder.resolve():
        raise UseError("--of names this evening itself", hint="name the one before, whose leftovers were melted again")
    earlier = read_leftovers(other)
    if earlier is None:
        raise UseError(f"nothing is recorded for {name}", hint=f"bain stock {name} --left 640g first")
    if _comes_from(earlier, folder):
        raise UseError(f"what {name} melted came from this evening itself", hint="name the one before this one")
    if earlier.kind != before.kind:
        raise UseError(f"{name} left {terms.kind(earlier.kind)}", wanted=terms.kind(before.kind),
                       hint="two kinds melted together are neither")  # fmt: skip
    return judged_with_its_past(earlier, other)


def _comes_from(left: Leftovers, folder: Path) -> bool:
    """Whether leftovers go back to an evening, over any number of meltings."""
    found = (_folder_of(each) for each in (left, *_evenings_before(left)[0]))
    return any(each is not None and each.resolve() == folder.resolve() for each in found)


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
