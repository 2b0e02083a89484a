"""A scenario: a TOML file of what people do to the warmer and what breaks, each at its second.

The classes below are the only table of event kinds and their keys.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, ClassVar, Literal, get_args

import msgspec
from msgspec import Meta, Struct

from bainboard.wire import shown
from bainwright.core.errors import FileError
from bainwright.core.toml import check, close_match, read_toml
from bainwright.files.rig import find_file
from bainwright.virtual.plant import Start

BUNDLED = Path(__file__).parent / "scenarios"

Second = Annotated[float, Meta(ge=0.0, le=604800.0, description="seconds since the hold began")]
Lasting = Annotated[float, Meta(gt=0.0, le=604800.0, description="duration, seconds")]
Mass = Annotated[float, Meta(gt=0.0, le=20.0, description="kilograms")]
Litres = Annotated[float, Meta(gt=0.0, le=20.0, description="litres")]
ChocolateC = Annotated[float, Meta(ge=-5.0, le=60.0, description="°C of the chocolate")]
WaterC = Annotated[float, Meta(ge=0.0, le=100.0, description="°C of the water")]
RoomC = Annotated[float, Meta(ge=-10.0, le=45.0, description="°C of the room")]

FaultName = Literal[
    "water_open", "water_short", "water_stuck", "water_power_on", "water_bad_crc",
    "bowl_open", "bowl_short", "bowl_stuck", "bowl_power_on", "bowl_bad_crc",
    "bus_low", "bus_dead", "switch_shorted", "guard_welded", "heater_open", "display_open", "water_low",
]


class Event(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True, tag_field="kind"):
    """The keys of every event."""

    physical: ClassVar[bool] = True  # it acts on the warmer itself, so it needs the built-in plant
    at_s: Second
    caption: Annotated[str, Meta(max_length=120)] = ""


class Refill(Event, frozen=True, tag="refill"):
    """Tempered chocolate is poured in and stirred."""

    mass_kg: Mass
    temp_c: ChocolateC


class Dip(Event, frozen=True, tag="dip"):
    """Pieces are dipped: chocolate leaves at a steady rate and is stirred."""

    mass_kg: Mass
    for_s: Lasting


class Seed(Event, frozen=True, tag="seed"):
    """Solid tempered pieces are dropped in and stirred; they melt over minutes."""

    mass_kg: Mass
    temp_c: ChocolateC


class WaterSwap(Event, frozen=True, tag="water_swap"):
    """Some of the bath's water is replaced."""

    litres: Litres
    temp_c: WaterC


class WaterTopUp(Event, frozen=True, tag="water_top_up"):
    """Water is poured into the bath."""

    litres: Litres
    temp_c: WaterC


class WaterOut(Event, frozen=True, tag="water_out"):
    """Water is ladled out of the bath."""

    litres: Litres


class Stir(Event, frozen=True, tag="stir"):
    """The chocolate is stirred."""

    for_s: Lasting


class BowlOff(Event, frozen=True, tag="bowl_off"):
    """The bowl is lifted out; `reported` if the person reports it to the board."""

    reported: bool = False


class BowlOn(Event, frozen=True, tag="bowl_on"):
    """The bowl is set back."""

    reported: bool = False


class ColdBath(Event, frozen=True, tag="cold_bath"):
    """The bowl, lifted off the warmer, is in cold water for a while."""

    for_s: Lasting
    temp_c: WaterC


class Lid(Event, frozen=True, tag="lid"):
    """A lid goes on the bowl, or comes off."""

    on: bool


class Draught(Event, frozen=True, tag="draught"):
    """A door opens: convection and evaporation grow by a factor."""

    for_s: Lasting
    factor: Annotated[float, Meta(ge=1.0, le=10.0, description="times still air")]


class Room(Event, frozen=True, tag="room"):
    """The room's temperature changes."""

    temp_c: RoomC


class Announce(Event, frozen=True, tag="announce"):
    """The person announces a refill to the board."""

    physical: ClassVar[bool] = False
    in_s: Annotated[float, Meta(ge=0.0, le=7200.0, description="seconds until the refill")]
    mass_kg: Mass | None = None
    temp_c: ChocolateC | None = None


class Confirm(Event, frozen=True, tag="confirm"):
    """The person says yes."""

    physical: ClassVar[bool] = False


class Thicker(Event, frozen=True, tag="thicker"):
    """The person says it thickens."""

    physical: ClassVar[bool] = False


class Thinner(Event, frozen=True, tag="thinner"):
    """The person says it is thin."""

    physical: ClassVar[bool] = False


class Back(Event, frozen=True, tag="back"):
    """The person takes the last answer back."""

    physical: ClassVar[bool] = False


class Test(Event, frozen=True, tag="test"):
    """The person wants to test the temper."""

    physical: ClassVar[bool] = False


class Finish(Event, frozen=True, tag="finish"):
    """The person ends the dipping: to rest, or to melted for the night."""

    physical: ClassVar[bool] = False
    to: Literal["rest", "melted"] = "rest"


class FaultEvent(Event, frozen=True, tag="fault"):
    """A part fails, for good or for a while; `clear` repairs it."""

    physical: ClassVar[bool] = False
    name: FaultName
    clear: bool = False
    for_s: Lasting | None = None


class PowerCutEvent(Event, frozen=True, tag="power_cut"):
    """The board loses its supply."""

    physical: ClassVar[bool] = False
    for_s: Lasting = 10.0


AnyEvent = (
    Refill | Dip | Seed | Stir | WaterSwap | WaterTopUp | WaterOut | BowlOff | BowlOn | ColdBath | Lid | Draught | Room
    | Announce | Confirm | Thicker | Thinner | Test | Back | Finish | FaultEvent | PowerCutEvent
)
KINDS: dict[str, type[Event]] = {str(kind.__struct_config__.tag): kind for kind in get_args(AnyEvent)}


class StartTable(Struct, frozen=True, forbid_unknown_fields=True):
    """The `[start]` table; a key that is missing takes the plant's default."""

    water_c: WaterC | None = None
    bowl_c: ChocolateC | None = None
    chocolate_kg: Mass | None = None
    solid_kg: Annotated[float, Meta(ge=0.0, le=20.0)] | None = None
    water_l: Litres | None = None
    room_c: RoomC | None = None
    lid: bool | None = None

    def start(self) -> Start:
        """The plant's start with this table's values."""
        given = {name: getattr(self, name) for name in self.__struct_fields__ if getattr(self, name) is not None}
        return Start(**given)


class Head(Struct, frozen=True, forbid_unknown_fields=True):
    """A scenario file without its events."""

    title: Annotated[str, Meta(max_length=120)] = ""
    note: str = ""
    rig: str = ""
    duration_s: Lasting | None = None
    start: StartTable | None = None


class Scenario(Struct, frozen=True):
    """A checked scenario.

    Attributes
    ----------
    title, note : str
        Shown in the picture.
    rig : str
        The bundled rig it was written for, or empty.
    duration_s : float or None
        How long the evening lasts.
    start : StartTable or None
        How it begins; None leaves the plant's default.
    events : tuple of Event
        In order of time; events of one second keep the file's order.
    source : str
        Name or path.
    """

    title: str = ""
    note: str = ""
    rig: str = ""
    duration_s: float | None = None
    start: StartTable | None = None
    events: tuple[Event, ...] = ()
    source: str = ""

    @property
    def physical(self) -> tuple[Event, ...]:
        """Events that act on the warmer, and so need the built-in plant."""
        return tuple(event for event in self.events if event.physical)

    def captions(self) -> list[tuple[float, str]]:
        """Second and caption of each event that has one, for the picture."""
        return [(event.at_s, event.caption) for event in self.events if event.caption]


def kind_of(event: Event) -> str:
    """An event's kind, as in the file."""
    return str(event.__struct_config__.tag)


def load_scenario(name_or_path: str | Path) -> Scenario:
    """Read a scenario: a bundled name (``orange_sticks``) or the path of a TOML file.

    Raises
    ------
    FileError
        When there is none, or it is wrong.
    """
    path, source = find_file(name_or_path, BUNDLED, "scenario")
    return parse_scenario(read_toml(path, "scenario"), source)


def parse_scenario(doc: dict[str, Any], source: str = "") -> Scenario:
    """Check a parsed scenario.

    Parameters
    ----------
    doc : dict
        What the TOML file holds.
    source : str, optional
        What to call it in errors.
    """
    where = f"scenario {source}".rstrip()
    entries = doc.get("event", [])
    if not isinstance(entries, list):
        raise FileError(f"{where}, event", got="one table", wanted="[[event]] with two brackets")
    unknown = sorted(set(doc) & set(KINDS))
    if unknown:
        raise FileError(f"{where}, {unknown[0]}", got="a table of that name", wanted="[[event]]",
                        hint=f'write an event with kind = "{unknown[0]}"')  # fmt: skip
    head = check({name: value for name, value in doc.items() if name != "event"}, Head, where)
    events = [_event(entry, at, where) for at, entry in enumerate(entries, 1)]
    events.sort(key=lambda event: event.at_s)
    return Scenario(**msgspec.structs.asdict(head), events=tuple(events), source=source)


def _event(entry: Any, number: int, where: str) -> Event:
    place = f"{where}, event {number}"
    if not isinstance(entry, dict):
        raise FileError(place, got=shown(entry), wanted="a table with at_s, kind and that kind's keys")
    kind = entry.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        hint = close_match(kind, KINDS) if isinstance(kind, str) else None
        raise FileError(f"{place}, kind", got=shown(kind), wanted="one of " + ", ".join(KINDS), hint=hint)
    return check(entry, KINDS[kind], f"{place} ({kind})")
