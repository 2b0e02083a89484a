"""A warmer as built, read from a rig file: the settings for its board, and the figures for the built-in plant."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Annotated, Any, Literal

from msgspec import Meta, Struct

from bainboard import settings as board
from bainwright.core.errors import FileError
from bainwright.core.toml import board_refusal, check, close_match, read_toml
from bainwright.files import pinout

DEFAULT_RIG = "pot"  # the simulated warmer by default
BUNDLED = Path(__file__).parents[1] / "virtual" / "rigs"

_ROWS: dict[str, tuple[Any, ...]] = {str(row[board.NAME]): row for row in board.SETTINGS}

REQUIRED = ("name", "heater_w", "switch", "period_s", "water_l", "bowl_kg", "chocolate_kg", "hard_limit_c",
            "probe.water.kind")

Share = Annotated[float, Meta(ge=0.0, le=1.0)]
Film = Annotated[float, Meta(ge=1.0, le=5000.0)]  # still air has 5
Lag = Annotated[float, Meta(ge=0.0, le=120.0)]
Bias = Annotated[float, Meta(ge=-3.0, le=3.0)]


class PlantTable(Struct, frozen=True, forbid_unknown_fields=True):
    """The `[plant]` table: properties of the simulated warmer. Missing keys follow from litres, kilograms and watts.

    The firmware never sees these, so they cannot help a hold.
    """

    bath: Literal["water", "plate"] = "water"  # a plate neither evaporates nor can be topped up
    bowl_diameter_m: Annotated[float, Meta(gt=0.03, le=1.0)] | None = None
    bowl_height_m: Annotated[float, Meta(gt=0.01, le=1.0)] | None = None
    bowl_cp_j_per_kgk: Annotated[float, Meta(ge=100.0, le=2000.0)] | None = None  # stainless steel; glass has 840
    immersion: Share = 0.6  # share of the bowl's height under water
    pot_diameter_m: Annotated[float, Meta(gt=0.03, le=1.5)] | None = None
    vessel_kg: Annotated[float, Meta(ge=0.0, le=20.0)] | None = None  # steel of the pot, warm with its water
    insulation_mm: Annotated[float, Meta(ge=0.0, le=100.0)] = 0.0  # foam round the pot, 0.035 W/m·K
    base_w_per_m2k: Annotated[float, Meta(ge=0.0, le=20.0)] = 2.0  # loss down through the surface under the pot
    ring_cover: Share = 0.7  # share of the water ring round the bowl that is covered
    heater_leak: Share = 0.05  # share of the heater's coupling that goes to the room instead
    water_film_w_per_m2k: Film = 250.0  # water (or plate) to bowl
    rest_film_w_per_m2k: Film = 60.0  # bowl to chocolate, left alone
    stirred_film_w_per_m2k: Film = 115.0  # bowl to chocolate while dipping or stirring
    temper_latent_j_per_kg: Annotated[float, Meta(ge=0.0, le=46000.0)] = 1500.0
    # Of the solid chocolate melted in it; a simulated hold sets them by the chocolate's kind. Default: dark.
    latent_j_per_kg: Annotated[float, Meta(ge=1.0, le=60000.0)] | None = None
    milk_fat_k: Annotated[float, Meta(ge=0.0, le=5.0)] = 0.0  # how far milk fat moves its melting down
    humidity: Share = 0.5  # of the room
    water_probe_lag_s: Lag = 8.0
    bowl_probe_lag_s: Lag = 15.0
    water_probe_bias_c: Bias | None = None  # None: a small one, drawn by the seed
    bowl_probe_bias_c: Bias | None = None
    probe_noise_c: Annotated[float, Meta(ge=0.0, le=1.0)] = 0.02


class Vessel(Struct, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """A named vessel of a rig: its own figures for water, bowl and chocolate."""

    water_l: float | None = None
    bowl_kg: float | None = None
    chocolate_kg: float | None = None

    def changes(self) -> dict[str, float]:
        """The settings this vessel replaces."""
        return {name: getattr(self, name) for name in self.__struct_fields__ if getattr(self, name) is not None}


@dataclass(frozen=True)
class Rig:
    """A warmer as built.

    Attributes
    ----------
    name : str
        Its name.
    settings : mapping
        Every setting of `bainboard.settings.SETTINGS`, checked, by its dotted name.
    plant : PlantTable
        Figures of the built-in plant beyond the settings.
    vessels : mapping
        Named vessels that may replace the rig's own.
    source : str
        The bundled name or the path it was read from.
    written : mapping
        The settings given in the file; the rest are defaults.
    plant_given : frozenset of str
        The keys given in its `[plant]` table.
    """

    name: str
    settings: Mapping[str, Any]
    plant: PlantTable = field(default_factory=PlantTable)
    vessels: Mapping[str, Vessel] = field(default_factory=dict)
    source: str = ""
    written: Mapping[str, Any] = field(default_factory=dict)
    plant_given: frozenset[str] = frozenset()

    @property
    def bath(self) -> str:
        """What the bowl sits in or on: "water" or "plate"."""
        return self.plant.bath

    @property
    def has_bowl_probe(self) -> bool:
        """Whether a bowl probe is fitted."""
        return bool(self.settings["probe.bowl.kind"] != "none")

    def with_vessel(self, name: str) -> Rig:
        """The same rig with one of its named vessels.

        Raises
        ------
        FileError
            If the rig has no vessel of that name, or the vessel's figures are impossible.
        """
        if name not in self.vessels:
            known = ", ".join(self.vessels) or "none"
            hint = close_match(name, self.vessels)
            raise FileError(f"rig {self.name} has no vessel {name!r}; it has {known}", hint=hint)
        return self.with_settings(self.vessels[name].changes(), f"rig {self.source}, vessel {name}")

    def with_settings(self, changes: Mapping[str, Any], where: str | None = None) -> Rig:
        """The same rig with some settings replaced, checked again as a whole."""
        written = {**self.written, **changes}
        return replace(self, settings=_checked(written, where or f"rig {self.source}"), written=written)


def load_rig(name_or_path: str | Path) -> Rig:
    """Read a rig: a bundled name (``pot``) or the path of a TOML file.

    Raises
    ------
    FileError
        If there is no such rig, or its file has errors; all errors are reported at once.
    """
    path, source = find_file(name_or_path, BUNDLED, "rig")
    doc = read_toml(path, "rig")
    where = f"rig {source}"
    wrong: list[FileError] = []
    plant_table = _sound(_table(doc, "plant", where, wrong), lambda one: check(one, PlantTable, f"{where}, [plant]"),
                         wrong)  # fmt: skip
    plant = check(plant_table, PlantTable, where)
    vessels = {name: _vessel(table, f"{where}, [vessel.{name}]", wrong)
               for name, table in _table(doc, "vessel", where, wrong).items()}  # fmt: skip
    table = _sound(_table(doc, "pins", where, wrong), lambda one: pinout.text_of(one, where), wrong)
    pins = pinout.text_of(table, where)
    written = {**dict(flatten(doc)), **({"pins": pins} if pins else {})}
    missing = [name for name in REQUIRED if name not in written]
    if missing:
        wrong.append(FileError(f"{where} leaves out {', '.join(missing)}",
                               hint="every rig file must give these itself"))  # fmt: skip
    settings, more = _judged(written, where)
    _refuse([*wrong, *more], where)
    return Rig(written["name"], settings, plant, vessels, source, written, frozenset(plant_table))


def find_file(name_or_path: str | Path, folder: Path, what: str) -> tuple[Path, str]:
    """The file of a bundled name or a path, and its name in messages.

    Raises
    ------
    FileError
        If it is neither; the hint has the nearest bundled name.
    """
    text = str(name_or_path)
    bundled = folder / f"{text}.toml"
    if Path(text).name == text and bundled.is_file():
        return bundled, text
    path = Path(text)
    if path.is_file():
        return path, text
    if text and path.is_dir():
        raise FileError(f"the {what} {text!r} is a folder", wanted="a TOML file", hint="name a file in it")
    names = sorted(entry.stem for entry in folder.glob("*.toml"))
    raise FileError(f"no {what} {text!r}", wanted=f"one of {', '.join(names)}, or a TOML file",
                    hint=close_match(text, names))


def flatten(doc: Mapping[str, Any], prefix: str = "") -> list[tuple[str, Any]]:
    """Nested tables as dotted names: ``{"probe": {"water": 1}}`` gives ``("probe.water", 1)``."""
    pairs: list[tuple[str, Any]] = []
    for name, value in doc.items():
        full = prefix + name
        pairs += flatten(value, full + ".") if isinstance(value, Mapping) else [(full, value)]
    return pairs


def _table(doc: dict[str, Any], name: str, where: str, wrong: list[FileError]) -> dict[str, Any]:
    table = doc.pop(name, {})
    if isinstance(table, dict):
        return table
    wrong.append(FileError(f"{where}, {name}", got=board.shown(table), wanted=f"a [{name}] table"))
    return {}


def _vessel(table: Any, where: str, wrong: list[FileError]) -> Vessel:
    if not isinstance(table, dict):
        wrong.append(FileError(where, got=board.shown(table), wanted="a table"))
        return Vessel()

    def alone(one: dict[str, Any]) -> None:
        check(one, Vessel, where)
        _checked(one, where)  # an impossible vessel is refused now, not on the evening it is used

    return check(_sound(table, alone, wrong), Vessel, where)


def _sound(table: dict[str, Any], judge: Callable[[dict[str, Any]], object], wrong: list[FileError]) -> dict[str, Any]:
    """The entries that `judge` accepts, each alone; the errors of the others are added to `wrong`."""
    sound = {}
    for name, value in table.items():
        try:
            judge({name: value})
        except FileError as failed:
            wrong.append(failed)
        else:
            sound[name] = value
    return sound


def _refuse(wrong: list[FileError], where: str) -> None:
    if len(wrong) == 1:
        raise wrong[0]
    if wrong:
        lines = "".join("\n  " + fault.words().removeprefix(where).lstrip(":, ") for fault in wrong)
        raise FileError(f"{where}: {len(wrong)} things are wrong with it{lines}")


def _checked(written: Mapping[str, Any], where: str) -> dict[str, Any]:
    values, wrong = _judged(written, where)
    _refuse(wrong, where)
    return values


def _judged(written: Mapping[str, Any], where: str) -> tuple[dict[str, Any], list[FileError]]:
    """All settings, with the correct written ones, and the errors of the others or of all of them together."""
    wrong: list[FileError] = []

    def alone(one: dict[str, Any]) -> None:
        values, why = board.check([_ROWS[name] for name in one if name in _ROWS], one)
        if values is None:
            raise board_refusal(where, why, _ROWS, one, ("plant", "vessel", "pins"))

    sound = _sound(dict(written), alone, wrong)
    values = {**board.defaults(board.SETTINGS), **sound}
    values = {name: float(value) if _ROWS[name][board.KIND] == board.FLOAT else value for name, value in values.items()}
    _, why = board.check(board.SETTINGS, sound)  # as on a board: figures within their bounds may be unsafe together
    together: list[tuple[str, str | None]] = [(why, None)] if why else []
    together += _resistor_faults(values)
    if not {"board", "pins"} & (written.keys() - sound.keys()):  # without a valid board no pin can be checked
        together += _pin_faults(values)
    return values, wrong + [FileError(f"{where}: {why}", hint=hint) for why, hint in together]


def _pin_faults(values: Mapping[str, Any]) -> Iterator[tuple[str, str | None]]:
    """The error of each pin moved to a place where it cannot be."""
    while fault := pinout.misfit(values):
        yield fault
        name = fault[0].partition(":")[0].removeprefix("pins.")
        rest = " ".join(word for word in values["pins"].split() if word.partition("=")[0] != name)
        if rest == values["pins"]:
            return
        values = {**values, "pins": rest}


def _resistor_faults(values: Mapping[str, Any]) -> Iterator[tuple[str, str | None]]:
    """A platinum probe's converter measures up to its reference resistor, and the element passes 1.497 R0 at 130 °C."""
    for at in ("probe.water.", "probe.bowl."):
        least_ohm = 1.5 * values[at + "r0_ohm"]
        if values[at + "kind"] == "platinum" and not values[at + "reference_ohm"] >= least_ohm:
            got = f"{at}reference_ohm: got {values[at + 'reference_ohm']:g}"
            yield f"{got}, wanted at least {least_ohm:g}: 1.5 x r0_ohm", "boards for Pt100 have 430, for Pt1000 4300"

