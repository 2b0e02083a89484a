"""A chocolate's temperatures: read from TOML, filled in by its kind, compiled to what the board keeps."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from msgspec import Struct

from bainboard import settings as board
from bainwright.errors import FileError
from bainwright.rig import find_file
from bainwright.tables import board_refusal, check, close_match, fahrenheit_hint, read_toml

BUNDLED = Path(__file__).parent / "profiles"

_ROWS: dict[str, tuple[Any, ...]] = {str(row[board.NAME]): row for row in board.PROFILE}


@dataclass(frozen=True)
class Caps:
    """What a kind bears, where its file does not say."""

    ceiling_c: float
    never_above_c: float
    source: str


_MILK_FAT = "casein denatures and grains form above 50 °C (Coady)"
_SEED_LOSS = "the seed-loss point of the literature less a probe error"

# The wall's ceiling while a temper is in it, and what the chocolate must never meet even while melting.
CAPS = {
    "dark": Caps(34.5, 55.0, f"ceiling: {_SEED_LOSS}; never above: common practice, no source"),
    "milk": Caps(33.5, 50.0, f"ceiling: {_SEED_LOSS}; never above: {_MILK_FAT}"),
    "white": Caps(32.5, 50.0, f"ceiling: {_SEED_LOSS}; never above: {_MILK_FAT}"),
    "ruby": Caps(32.5, 50.0, "as white; common practice, no source"),
    "caramelised_white": Caps(32.5, 50.0, "as white; common practice, no source"),
    "melted": Caps(45.0, 50.0, f"ceiling: a careful cap for milk, common practice; never above: {_MILK_FAT}"),
}


class Work(Struct, frozen=True, forbid_unknown_fields=True):
    """The `[work]` table: the window the chocolate is held in."""

    low_c: float
    high_c: float
    target_c: float | None = None  # the middle of the window
    ceiling_c: float | None = None  # by kind


class ProfileFile(Struct, frozen=True, forbid_unknown_fields=True):
    """A profile as written; units are in the keys and every temperature is °C."""

    name: str
    kind: str
    work: Work
    note: str = ""
    source: str = ""
    melt_c: float | None = None
    never_above_c: float | None = None


@dataclass(frozen=True)
class Profile:
    """A chocolate, checked.

    Attributes
    ----------
    name, kind : str
        What it is called and which of the board's kinds it is.
    low_c, target_c, high_c : float
        The window and what is held in it.
    ceiling_c : float
        The warmest the bowl's wall may be.
    never_above_c : float
        Never above, even melting.
    melt_c : float or None
        What it is melted at before tempering, if the file says.
    note, source : str
        Words of the file: advice, and where its figures come from.
    path : str
        The bundled name or the path it was read from.
    """

    name: str
    kind: str
    low_c: float
    target_c: float
    high_c: float
    ceiling_c: float
    never_above_c: float
    melt_c: float | None = None
    note: str = ""
    source: str = ""
    path: str = ""

    def document(self) -> dict[str, Any]:
        """The flat document the board stores, by the names of `bainboard.settings.PROFILE`."""
        return {name: getattr(self, name) for name in _ROWS}


def bundled_profiles() -> list[str]:
    """Names of the chocolates that come along."""
    return sorted(path.stem for path in BUNDLED.glob("*.toml"))


def load_profile(name_or_path: str | Path) -> Profile:
    """Read a chocolate: a bundled name (``dark``, ``milk``, ``white``, ``melted``) or the path of a TOML file.

    Raises
    ------
    FileError
        When there is none of that name, or the file is not right.
    """
    path, source = find_file(name_or_path, BUNDLED, "chocolate")
    return parse_profile(read_toml(path, "chocolate"), source)


def parse_profile(doc: dict[str, Any], path: str = "") -> Profile:
    """Check a parsed profile whole and fill in by its kind what it leaves out.

    Raises
    ------
    FileError
        For unknown keys, figures out of range or at odds with each other, and temperatures that look like °F.
    """
    where = f"chocolate {path}".rstrip()
    written = check(doc, ProfileFile, where)
    if written.kind not in CAPS:
        raise FileError(f"{where}, kind", got=repr(written.kind), wanted="one of " + ", ".join(CAPS),
                        hint=close_match(written.kind, CAPS) or "take milk if you do not know: it bears the least heat")
    profile = _filled(written, path)
    values, why = board.check_profile(profile.document())
    if values is None:
        raise board_refusal(where, why, _ROWS, profile.document())
    if profile.melt_c is not None and not profile.high_c < profile.melt_c <= profile.never_above_c:
        raise FileError(f"{where}, melt_c", got=f"{profile.melt_c:g} °C",
                        wanted=f"above high_c {profile.high_c:g} and at most never_above_c {profile.never_above_c:g}",
                        hint=fahrenheit_hint("melt_c", profile.melt_c, profile.never_above_c))
    return profile


def _filled(written: ProfileFile, path: str) -> Profile:
    work, caps = written.work, CAPS[written.kind]
    return Profile(
        name=written.name,
        kind=written.kind,
        low_c=work.low_c,
        target_c=0.5 * (work.low_c + work.high_c) if work.target_c is None else work.target_c,
        high_c=work.high_c,
        ceiling_c=caps.ceiling_c if work.ceiling_c is None else work.ceiling_c,
        never_above_c=caps.never_above_c if written.never_above_c is None else written.never_above_c,
        melt_c=written.melt_c,
        note=written.note,
        source=written.source or caps.source,
        path=path,
    )

