"""A chocolate's temperatures: read from TOML, completed by its kind, compiled to the document the board stores."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from msgspec import Struct

from bainboard import settings as board
from bainboard import stages
from bainwright.core.errors import FileError
from bainwright.core.toml import board_refusal, check, close_match, read_toml
from bainwright.files.rig import find_file
from bainwright.files.score import Window

BUNDLED = Path(__file__).parent / "profiles"

FORM_V_C = 33.8  # melting point of cocoa butter, form V (Wille & Lutton 1966; between authors about 30 to 34)
COOL_LEAST_C = board.COOL_LEAST_C
BY_SEED, BY_COOLING = "seed", "cool"  # the ways an evening at the warmer reaches a temper
UNDER_WINDOW_K = 1.0  # chosen: an unusually cool window moves the end of cooling down with it
# Crystals that do not last form below 29 °C in dark (Greweling 2007), 2 °C under its window; for others chosen alike.
SOFT_UNDER_K = 2.0
OVERHEATED_K = 0.1  # chosen: so much over its limit is a probe's error
KEEP_C = 40.0  # melted stock overnight: common practice, no source
_ROWS: dict[str, tuple[Any, ...]] = {str(row[board.NAME]): row for row in board.PROFILE}


@dataclass(frozen=True)
class Caps:
    """The default limits of a kind."""

    ceiling_c: float
    never_above_c: float
    source: str
    melt_c: float = 43.0  # within 40-45 °C, common practice, no source
    set_min: float = 8.0  # "somewhat longer" than dark, common practice, no source; the figure is chosen
    fail_min: float = 15.0  # 10-15 minutes, common practice, no source; milk fat gets the longer end
    cool_low_c: float = 26.0  # where cooling ends before the bowl is warmed back; common practice, no source
    cool_high_c: float = 27.0


_MILK_FAT = "casein denatures and grains form above 50 °C (Coady)"
_SEED_LOSS = "the seed-loss point of the literature less a probe error"

# The wall's ceiling while the chocolate is in temper, and the temperature it must never exceed, even while melting.
CAPS = {
    # Dark is melted at 45-50 °C, cooled to 27-28 °C and sets in 5 minutes or less: common practice, no source.
    "dark": Caps(34.5, 55.0, f"ceiling: {_SEED_LOSS}; never above: common practice, no source", 45.0, 5.0, 10.0,
                 27.0, 28.0),
    "milk": Caps(33.5, 50.0, f"ceiling: {_SEED_LOSS}; never above: {_MILK_FAT}"),
    "white": Caps(32.5, 50.0, f"ceiling: {_SEED_LOSS}; never above: {_MILK_FAT}", 40.0, cool_low_c=25.0,
                  cool_high_c=26.0),
    "ruby": Caps(32.5, 50.0, "as white; common practice, no source", 40.0),
    "caramelised_white": Caps(32.5, 50.0, "as white; common practice, no source", 40.0),
    "melted": Caps(45.0, 50.0, f"ceiling: a careful cap for milk, common practice; never above: {_MILK_FAT}"),
}


# Nut paste or fat lowers a window by 1 to 2 °C (common practice, no source); bags differ by less.
LOWERED_K, MOST_LOWERED_K = 1.0, 2.0
# The top of the usual window: McGee and Coady for dark, milk and white; else common practice, no source.
USUAL_HIGH_C = {"dark": 32.0, "milk": 31.0, "white": 30.0, "ruby": 29.5, "caramelised_white": 29.5}


class Work(Struct, frozen=True, forbid_unknown_fields=True):
    """The `[work]` table: the window the chocolate is held in."""

    low_c: float
    high_c: float
    target_c: float | None = None  # the middle of the window
    ceiling_c: float | None = None  # by kind


class Test(Struct, frozen=True, forbid_unknown_fields=True):
    """The `[test]` table: when a test piece on a cold blade should have set."""

    set_min: float | None = None  # a piece in temper has set by then; by kind
    fail_min: float | None = None  # a piece not set by then is not in temper; by kind


class Cool(Struct, frozen=True, forbid_unknown_fields=True):
    """The `[cool]` table: where cooling ends for the method that cools the bowl and warms it back."""

    low_c: float | None = None  # by kind
    high_c: float | None = None


class ProfileFile(Struct, frozen=True, forbid_unknown_fields=True):
    """A profile as written; units are in the keys and every temperature is °C."""

    name: str
    kind: str
    work: Work
    note: str = ""
    source: str = ""
    melt_c: float | None = None
    never_above_c: float | None = None
    keep_c: float | None = None  # melted stock overnight
    of: str | None = None  # for melted stock: of which kind it is
    method: str = BY_SEED  # how it is tempered
    test: Test = Test()
    cool: Cool = Cool()


@dataclass(frozen=True)
class Profile:
    """A chocolate, checked.

    Attributes
    ----------
    name, kind : str
        Its name, and its kind, one of the board's.
    low_c, target_c, high_c : float
        The window and the target in it.
    ceiling_c : float
        The warmest the bowl's wall may be.
    never_above_c : float
        The temperature never to exceed, even while melting.
    melt_c : float
        The melting temperature before tempering.
    keep_c : float
        The temperature of melted stock overnight.
    set_min, fail_min : float
        A piece in temper has set by the first time; one not set by the second is not in temper.
    cool_low_c, cool_high_c : float
        Where cooling ends for the method that cools the bowl and warms it back.
    cool_c : float
        The same for the board: the upper end where the evening uses that method, 0 where it is tempered by seed.
    of : str
        The kind of chocolate that melted stock is; otherwise its own kind.
    note, source : str
        Texts of the file: advice, and the source of its figures.
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
    melt_c: float = 45.0
    keep_c: float = KEEP_C
    set_min: float = 5.0
    fail_min: float = 10.0
    note: str = ""
    source: str = ""
    path: str = ""
    of: str = ""
    cool_low_c: float = 27.0
    cool_high_c: float = 28.0
    cool_c: float = 0.0

    def tempered_by(self, method: str) -> Profile:
        """The same chocolate, tempered by seed or by cooling."""
        return replace(self, cool_c=self.cool_high_c if method == BY_COOLING else 0.0)

    def document(self) -> dict[str, Any]:
        """The flat document the board stores, by the names of `bainboard.settings.PROFILE`."""
        return {name: getattr(self, name) for name in _ROWS}


def window_at(profile: Profile, stage: str) -> Window:
    """The window of a chocolate in a stage, from the board's own table, for the score and the views."""
    row: Any = stages.BY_NAME.get(stage, stages.BY_NAME["work"])
    if profile.kind == "melted":
        row = stages.STOCK
    values = profile.document()

    def figure(each: Any) -> float:
        return float(values[each[0]] + each[1])

    low_c, target_c, high_c = map(figure, row[stages.WINDOW])
    tempered = row[stages.NAME] not in ("melt", "melted")
    return Window(low_c, target_c, high_c, min(map(figure, row[stages.CEILING])), tempered)


def overheated(peak_c: float, never_above_c: float) -> bool:
    """Whether a chocolate got warmer than it may ever be: from then on it is not fit to temper."""
    return peak_c > never_above_c + OVERHEATED_K


def bundled_profiles() -> list[str]:
    """Names of the bundled chocolates."""
    return sorted(path.stem for path in BUNDLED.glob("*.toml"))


def load_profile(name_or_path: str | Path) -> Profile:
    """Read a chocolate: a bundled name (``dark``, ``milk``, ``white``, ``melted``) or the path of a TOML file.

    Raises
    ------
    FileError
        If there is none of that name, or its file has an error.
    """
    path, source = find_file(name_or_path, BUNDLED, "chocolate")
    return parse_profile(read_toml(path, "chocolate"), source)


def parse_profile(doc: dict[str, Any], path: str = "") -> Profile:
    """Check a whole parsed profile and complete it with the defaults of its kind.

    Raises
    ------
    FileError
        For unknown keys, figures out of range or at odds with each other, and temperatures that look like °F.
    """
    where = f"chocolate {path}".rstrip()
    written = check(doc, ProfileFile, where)
    if written.kind not in CAPS:
        raise FileError(f"{where}, kind", got=repr(written.kind), wanted="one of " + ", ".join(CAPS),
                        hint=close_match(written.kind, CAPS)
                        or "take milk if you do not know: it tolerates the least heat")
    if written.of is not None and (written.kind != "melted" or written.of not in CAPS or written.of == "melted"):
        raise FileError(f"{where}, of", got=repr(written.of), wanted="with kind = \"melted\", one of " + ", ".join(
            kind for kind in CAPS if kind != "melted"), hint="leave it out if you do not know: it is taken for milk")
    if written.method not in (BY_SEED, BY_COOLING):
        raise FileError(f"{where}, method", got=repr(written.method), wanted=f"{BY_SEED} or {BY_COOLING}",
                        hint="cocoa butter seed is seed, too")
    if written.work.high_c <= written.work.low_c:
        raise FileError(f"{where}, high_c", got=f"{written.work.high_c:g} °C",
                        wanted=f"above the low end, low_c = {written.work.low_c:g} °C")
    profile = _filled(written, path)
    # First: otherwise a window over the melting point would be reported as an error of a ceiling that nobody gave.
    if profile.kind != "melted" and FORM_V_C <= profile.high_c <= 50.0:
        raise FileError(f"{where}, high_c", got=f"{profile.high_c:g} °C",
                        wanted=f"below {FORM_V_C:g} °C, the melting point of the crystal a temper holds",
                        hint="kind = \"melted\" is for stock that stays melted")
    if written.cool != Cool() or written.method == BY_COOLING:
        _check_cooling(profile, where)
    values, why = board.check_profile(profile.document())
    if values is None:
        raise board_refusal(where, why, _ROWS, profile.document())
    return profile


def _check_cooling(profile: Profile, where: str) -> None:
    if not COOL_LEAST_C <= profile.cool_low_c < profile.cool_high_c < profile.low_c:
        raise FileError(f"{where}, [cool]", got=f"{profile.cool_low_c:g} to {profile.cool_high_c:g} °C",
                        wanted=f"from {COOL_LEAST_C:g} °C up, and below the window's {profile.low_c:g} °C",
                        hint="give low_c and high_c as the bag's chart has them")


def _filled(written: ProfileFile, path: str) -> Profile:
    work, caps, never_c = written.work, CAPS[written.kind], written.never_above_c
    never_c = caps.never_above_c if never_c is None else never_c
    # What lowers the window, such as nut paste or fat, lowers what the crystals bear and where they form with it.
    lower_k = USUAL_HIGH_C.get(written.kind, work.high_c) - work.high_c
    lower_k = lower_k if lower_k >= LOWERED_K else 0.0
    colder_k = lower_k if lower_k <= MOST_LOWERED_K else 0.0  # far lower is another chocolate, and sets if so cold
    cool_high_c = min(caps.cool_high_c - colder_k, work.low_c - UNDER_WINDOW_K)
    cool_low_c = min(caps.cool_low_c - colder_k, cool_high_c - UNDER_WINDOW_K)
    melts_c = work.high_c if written.kind == "melted" else min(caps.melt_c, never_c)
    return Profile(
        name=written.name,
        kind=written.kind,
        low_c=work.low_c,
        target_c=0.5 * (work.low_c + work.high_c) if work.target_c is None else work.target_c,
        high_c=work.high_c,
        ceiling_c=caps.ceiling_c - lower_k if work.ceiling_c is None else work.ceiling_c,
        never_above_c=never_c,
        melt_c=melts_c if written.melt_c is None else written.melt_c,
        keep_c=min(KEEP_C, never_c) if written.keep_c is None else written.keep_c,
        set_min=caps.set_min if written.test.set_min is None else written.test.set_min,
        fail_min=caps.fail_min if written.test.fail_min is None else written.test.fail_min,
        note=written.note,
        source=written.source or caps.source,
        path=path,
        cool_low_c=cool_low_c if written.cool.low_c is None else written.cool.low_c,
        cool_high_c=cool_high_c if written.cool.high_c is None else written.cool.high_c,
        of=written.of or ("milk" if written.kind == "melted" else written.kind),
    ).tempered_by(written.method)

