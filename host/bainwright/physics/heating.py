"""What a warmer loses to its room and how long its heater takes: three lumps, for planning rather than for control.

Heater element, bath, and bowl with chocolate. The wall between bath and chocolate has no lump of its own: its
temperature follows from the two films, and its heat and losses are shared between bath and chocolate in that
proportion. What nobody knows of a warmer beforehand is a factor in `Scales`, so that a plan can say how far a time may
be off.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from bainwright.core.figures import CHOSEN, MEMORY, READ, Figure
from bainwright.physics import air
from bainwright.physics.chocolate_heat import HeatProperties
from bainwright.physics.geometry import Body
from bainwright.physics.materials import (
    CP_LIQUID,
    CP_SOLID,
    INSULATION_W_PER_MK,
    PRESSURE_PA,
    STEEL_EMISSIVITY,
    SURFACE_EMISSIVITY,
    WATER_J_PER_KGK,
    WATER_KG_PER_L,
)

LID_SHARE = 0.25  # of the top's loss that still leaves under a lid, chosen
STEP_S = 5.0  # a fortieth of the fastest lag but the element's, which is solved exactly
FILMS_S = 60.0  # films change slowly and cost most of the computing
LONGEST_S = 12 * 3600.0  # chosen: a melt that takes longer is not planned
SETTLED_K_PER_S = 1e-5  # chosen: 0.04 °C an hour is a course that goes nowhere; a melting chocolate moves tenfold
SETTLED_AFTER_S = 1800.0  # chosen: a cold bath hardly moves its bowl at first
LIQUID_ABOVE_C = 40.0  # where the handbook's specific heat changes from its lower to its upper range
SLOPE_K = 0.05  # the slope of the melting curve is taken over this much on either side

HEAT_FIGURES = [
    Figure("film inside the bowl, left alone", 60.0, "W/m²·K", CHOSEN, "115 while stirred; good to a third"),
    Figure("still air over a warm level top, Nu = C Ra^(1/4), C", air.WARM_UP, "", MEMORY, "McAdams; upright 0.59"),
    Figure(
        "evaporation, times vapour pressure difference over latent heat",
        0.089,
        "kg/s·m² per kPa·kg/kJ",
        READ,
        "ASHRAE, still pools; Shah gives up to a quarter less at 33 °C",
    ),
]


@dataclass(frozen=True)
class Scales:
    """Factors on what litres, kilograms and watts only suggest; 1 is the suggestion itself.

    Attributes
    ----------
    store, chocolate : float
        Heat stored by the bath, and heat taken up by the chocolate.
    film : float
        Coupling from bath to chocolate.
    bath_loss, bowl_loss : float
        Losses to the room.
    heater : float
        Power of the heater.
    """

    store: float = 1.0
    chocolate: float = 1.0
    film: float = 1.0
    bath_loss: float = 1.0
    bowl_loss: float = 1.0
    heater: float = 1.0


@dataclass(frozen=True)
class Surroundings:
    """The room, what is covered, and what is in the bowl.

    Attributes
    ----------
    room_c, humidity : float
        Of the room, °C and 0 to 1.
    chocolate_kg : float
        In the bowl.
    ring_cover : float
        Share of the water round the bowl that is covered.
    lid : bool
        Whether the bowl is covered.
    draught : float
        Times still air's convection.
    stirred : float
        Share of the time the chocolate is stirred, 0 to 1.
    pressure_pa : float
        Air pressure.
    scales : Scales
        How this warmer differs from its sizes.
    """

    room_c: float
    humidity: float
    chocolate_kg: float
    ring_cover: float
    lid: bool = False
    draught: float = 1.0
    stirred: float = 0.0
    pressure_pa: float = PRESSURE_PA
    scales: Scales = field(default_factory=Scales)


@dataclass(frozen=True)
class Steady:
    """Holding a chocolate temperature: the water and wall it takes, the heater's power, the water that evaporates."""

    chocolate_c: float
    water_c: float
    wall_c: float
    need_w: float
    vapour_kg_per_h: float


@dataclass(frozen=True)
class Course:
    """A course of temperatures: whether it got there, when, with how much electrical energy, and every minute."""

    reached: bool
    took_s: float
    energy_j: float
    water_c: float
    chocolate_c: float
    rows: tuple[tuple[float, float, float], ...]  # (t_s, water_c, chocolate_c)


# -- losses, each in W per K over the room --------------------------------------------------------------------------


def _top_film(surface_c: float, width_m: float, around: Surroundings) -> float:
    moved = air.top_convection_w_per_m2k(surface_c, around.room_c, width_m) * around.draught
    return moved + air.radiation_w_per_m2k(surface_c, around.room_c, SURFACE_EMISSIVITY)


def _upright_film(surface_c: float, height_m: float, around: Surroundings) -> float:
    moved = air.convection_w_per_m2k(surface_c, around.room_c, height_m, air.UPRIGHT) * around.draught
    return moved + air.radiation_w_per_m2k(surface_c, around.room_c, STEEL_EMISSIVITY)


def top_w_per_k(body: Body, chocolate_c: float, around: Surroundings) -> float:
    """Loss from the chocolate's top."""
    share = (LID_SHARE if around.lid else 1.0) * around.scales.bowl_loss
    return share * body.base_m2 * _top_film(chocolate_c, body.bowl_diameter_m, around)


def side_w_per_k(body: Body, wall_c: float, around: Surroundings, bowl_off: bool = False) -> float:
    """Loss from the bowl's wall in the air: its dry part, or all of it and its base when lifted off."""
    film = _upright_film(wall_c, body.bowl_height_m, around)
    in_air = film * body.dry_side_m2
    if bowl_off:
        in_air = film * body.side_m2 + body.table.base_w_per_m2k * body.base_m2
    return around.scales.bowl_loss * in_air


def open_m2(body: Body, around: Surroundings, bowl_off: bool = False) -> float:
    """Water (or plate) surface open to the room."""
    return body.pot_m2 if bowl_off else body.ring_m2 * (1.0 - around.ring_cover)


def pot_w_per_k(body: Body, water_c: float, around: Surroundings, bowl_off: bool = False) -> float:
    """Loss from the pot's side, the open surface and the pot's base; evaporation comes on top."""
    side = _upright_film(water_c, body.pot_height_m, around)
    if body.table.insulation_mm:
        side = 1.0 / (1.0 / side + body.table.insulation_mm / 1000.0 / INSULATION_W_PER_MK)
    surface = _top_film(water_c, body.pot_diameter_m, around)
    base_w_per_k = body.table.base_w_per_m2k * body.pot_m2
    return around.scales.bath_loss * (
        side * body.pot_side_m2 + surface * open_m2(body, around, bowl_off) + base_w_per_k
    )


def vapour_kg_per_s(body: Body, water_c: float, around: Surroundings, bowl_off: bool = False) -> float:
    """Water that evaporates; none from a plate."""
    if not body.is_bath:
        return 0.0
    flux = air.evaporation_kg_per_m2s(water_c, around.room_c, around.humidity, around.pressure_pa)
    return flux * open_m2(body, around, bowl_off) * around.draught * around.scales.bath_loss


def bowl_off_w(body: Body, temp_c: float, around: Surroundings) -> float:
    """Heat a bowl on the table loses."""
    per_k = top_w_per_k(body, temp_c, around) + side_w_per_k(body, temp_c, around, bowl_off=True)
    return per_k * (temp_c - around.room_c)


def couplings_w_per_k(body: Body, around: Surroundings) -> tuple[float, float]:
    """Bath to wall, and wall to chocolate."""
    table = body.table
    film = around.stirred * table.stirred_film_w_per_m2k + (1.0 - around.stirred) * table.rest_film_w_per_m2k
    to_wall = table.water_film_w_per_m2k * body.wetted_m2
    return around.scales.film * to_wall, around.scales.film * film * body.touching_m2(around.chocolate_kg)


def bath_j_per_k(body: Body) -> float:
    """Heat stored by the water and its pot."""
    return body.water_kg * WATER_J_PER_KGK + body.vessel_j_per_k


# -- holding ---------------------------------------------------------------------------------------------------------


def steady(body: Body, chocolate_c: float, around: Surroundings) -> Steady:
    """What holding a chocolate temperature takes, from the chocolate's top back to the heater."""
    to_wall, to_chocolate = couplings_w_per_k(body, around)
    top_w = top_w_per_k(body, chocolate_c, around) * (chocolate_c - around.room_c)
    wall_c = chocolate_c + top_w / to_chocolate
    side_w = side_w_per_k(body, wall_c, around) * (wall_c - around.room_c)
    water_c = wall_c + (top_w + side_w) / to_wall
    vapour = vapour_kg_per_s(body, water_c, around)
    pot_w = pot_w_per_k(body, water_c, around) * (water_c - around.room_c)
    bath_w = top_w + side_w + pot_w + vapour * air.latent_j_per_kg(water_c)
    return Steady(chocolate_c, water_c, wall_c, _electrical_w(body, bath_w, water_c, around), 3600.0 * vapour)


def _electrical_w(body: Body, bath_w: float, water_c: float, around: Surroundings) -> float:
    """Power into the element for a given flow into the bath: a share leaks from the element to the room."""
    leak = body.table.heater_leak
    return bath_w * (1.0 + leak) + leak * body.element_w_per_k * (water_c - around.room_c)


def least_kg(body: Body, chocolate_c: float, around: Surroundings, water_most_c: float) -> float:
    """The least chocolate in the bowl that water of at most `water_most_c` still holds.

    Returns
    -------
    float
        kg; infinite when even the bowl of `around` needs warmer water.
    """

    def water_c(mass_kg: float) -> float:
        return steady(body, chocolate_c, replace(around, chocolate_kg=mass_kg)).water_c

    low_kg, high_kg = 0.0, around.chocolate_kg
    if water_c(high_kg) > water_most_c:
        return math.inf
    for _ in range(40):
        middle_kg = 0.5 * (low_kg + high_kg)
        low_kg, high_kg = (low_kg, middle_kg) if water_c(middle_kg) <= water_most_c else (middle_kg, high_kg)
    return high_kg


# -- getting there ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Start:
    """Before the heat goes on; `solid` is None when the chocolate is already molten."""

    water_c: float
    chocolate_c: float
    solid: HeatProperties | None = None


class _Films:
    """Couplings and losses, renewed every minute."""

    def __init__(self, body: Body, around: Surroundings, water_c: float, chocolate_c: float) -> None:
        to_wall, to_chocolate = couplings_w_per_k(body, around)
        self.wall_share = to_wall / (to_wall + to_chocolate)  # the part of the wall that follows the water
        wall_c = self.wall_share * water_c + (1.0 - self.wall_share) * chocolate_c
        side = side_w_per_k(body, wall_c, around)
        self.through = to_wall * to_chocolate / (to_wall + to_chocolate)
        self.bath = pot_w_per_k(body, water_c, around) + self.wall_share * side
        self.bowl = top_w_per_k(body, chocolate_c, around) + (1.0 - self.wall_share) * side
        self.vapour_w = vapour_kg_per_s(body, water_c, around) * air.latent_j_per_kg(water_c)


def heat_up(
    body: Body,
    heater_w: float,
    around: Surroundings,
    start: Start,
    water_most_c: float,
    done: Callable[[float, float], bool],
    longest_s: float = LONGEST_S,
) -> Course:
    """Full heat until `done(water_c, chocolate_c)`; the bath is held once it reaches `water_most_c`.

    Parameters
    ----------
    body : Body
        Sizes and films.
    heater_w : float
        Electrical power; 0 lets a bath and its bowl settle by themselves.
    around : Surroundings
        Room, covers and mass in the bowl.
    start : Start
        Temperatures before the heat goes on.
    water_most_c : float
        The most the bath may reach.
    done : callable
        Gets bath and chocolate, °C; True ends the course.
    longest_s : float
        When it is given up.
    """
    water_c, chocolate_c = start.water_c, start.chocolate_c
    into_w = energy_j = t_s = 0.0
    heater_w *= around.scales.heater
    bath_store = around.scales.store * bath_j_per_k(body) + body.element_j_per_k  # the element follows its bath
    reach = 1.0 - math.exp(-STEP_S * body.element_w_per_k / body.element_j_per_k)
    rows: list[tuple[float, float, float]] = []
    while not done(water_c, chocolate_c) and t_s < longest_s:
        if t_s % FILMS_S == 0.0:
            if rows and t_s > SETTLED_AFTER_S and _settled(rows[-1], water_c, chocolate_c):
                break
            films = _Films(body, around, water_c, chocolate_c)
            rows.append((t_s, water_c, chocolate_c))
        across_w = films.through * (water_c - chocolate_c)
        drain_w = across_w + films.bath * (water_c - around.room_c) + films.vapour_w
        hold_w = max(0.0, _electrical_w(body, drain_w, water_c, around))
        if water_c == water_most_c and hold_w <= heater_w:
            power_w, into_w = hold_w, max(0.0, drain_w)
        else:
            power_w = heater_w if water_c <= water_most_c else 0.0  # a bath filled warmer than that cools by itself
            leak_w = body.table.heater_leak * (body.element_w_per_k * (water_c - around.room_c) + into_w)
            into_w += reach * (power_w - leak_w - into_w)
        bowl_j_per_k = around.chocolate_kg * around.scales.chocolate * apparent_j_per_kgk(chocolate_c, start)
        was_c = water_c
        water_c += (into_w - drain_w) * STEP_S / (bath_store + films.wall_share * body.wall_j_per_k)
        if was_c < water_most_c < water_c:  # a control stops it there; a step of a strong heater would pass it
            water_c = water_most_c
        chocolate_c += (
            (across_w - films.bowl * (chocolate_c - around.room_c))
            * STEP_S
            / (bowl_j_per_k + (1.0 - films.wall_share) * body.wall_j_per_k)
        )
        energy_j += power_w * STEP_S
        t_s += STEP_S
    rows.append((t_s, water_c, chocolate_c))
    return Course(done(water_c, chocolate_c), t_s, energy_j, water_c, chocolate_c, tuple(rows))


def _settled(before: tuple[float, float, float], water_c: float, chocolate_c: float) -> bool:
    """Whether bath and chocolate hardly moved since the last minute."""
    moved_k = max(abs(water_c - before[1]), abs(chocolate_c - before[2]))
    return moved_k < SETTLED_K_PER_S * FILMS_S


def apparent_j_per_kgk(temp_c: float, start: Start) -> float:
    """Specific heat of the chocolate, the latent heat spread over its melting range, J/kg·K."""
    sensible = CP_LIQUID.value if temp_c > LIQUID_ABOVE_C else CP_SOLID.value
    if start.solid is None:
        return sensible
    above = start.solid.molten_share(temp_c + SLOPE_K, start.chocolate_c)
    below = start.solid.molten_share(temp_c - SLOPE_K, start.chocolate_c)
    return sensible + start.solid.latent.value * (above - below) / (2.0 * SLOPE_K)


# -- a bath that cannot be cooled by its heater ----------------------------------------------------------------------


def swap_l(body: Body, water_c: float, aim_c: float, cold_c: float) -> float:
    """Litres to ladle out and replace with as much cold water; infinite when the cold water is not cold enough.

    The pot gives up heat too, so the result may exceed the litres in the bath: then even all of it is not enough.
    """
    if water_c <= aim_c:
        return 0.0
    if cold_c >= aim_c:
        return math.inf
    out_kg = bath_j_per_k(body) * (water_c - aim_c) / (WATER_J_PER_KGK * (water_c - cold_c))
    return out_kg / WATER_KG_PER_L


def cool_down_s(body: Body, water_c: float, aim_c: float, around: Surroundings) -> float:
    """How long the bath or plate takes to cool with the bowl lifted off; infinite beyond `LONGEST_S`."""
    store, t_s = around.scales.store * bath_j_per_k(body) + body.element_j_per_k, 0.0
    while water_c > aim_c:
        per_k = pot_w_per_k(body, water_c, around, bowl_off=True) + body.table.heater_leak * body.element_w_per_k
        loss_w = per_k * (water_c - around.room_c)
        loss_w += vapour_kg_per_s(body, water_c, around, bowl_off=True) * air.latent_j_per_kg(water_c)
        water_c -= loss_w * FILMS_S / store
        t_s += FILMS_S
        if loss_w <= 0.0 or t_s > LONGEST_S:
            return math.inf
    return t_s


def bowl_cools_s(body: Body, from_c: float, to_c: float, around: Surroundings) -> float:
    """How long a bowl of melted chocolate takes to cool on the table; infinite beyond `LONGEST_S`."""
    store = body.wall_j_per_k + around.chocolate_kg * around.scales.chocolate * CP_LIQUID.value
    temp_c, t_s = from_c, 0.0
    while temp_c > to_c:
        lost_w = bowl_off_w(body, temp_c, around)
        if lost_w <= 0.0 or t_s > LONGEST_S:
            return math.inf
        temp_c -= lost_w * STEP_S / store
        t_s += STEP_S
    return t_s
