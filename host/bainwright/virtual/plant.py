"""The built-in warmer: heater element -> water -> bowl wall -> chocolate, and the losses to the room.

Each step solves the four heat balances together by the backward Euler method. It is stable for any lag and step, and
the heat that leaves one body enters the next exactly, so the energy balance closes. Film coefficients cost more than
the step itself and change slowly, so they are computed every ten seconds of plant time and after every event.
"""

from __future__ import annotations

from dataclasses import dataclass

from bainwright.files.rig import Rig
from bainwright.physics import air, chocolate_heat
from bainwright.physics.geometry import Body, body_of
from bainwright.physics.materials import (
    INSULATION_W_PER_MK,
    STEEL_EMISSIVITY,
    SURFACE_EMISSIVITY,
    WATER_J_PER_KGK,
    WATER_KG_PER_L,
)

REFRESH_S = 10.0
STIR_AFTER_S = 60.0  # a refill or seed is stirred in for a minute, chosen
LID_SHARE = 0.25  # share of the top loss that remains under a lid, chosen
LEAST_WATER_KG, LEAST_CHOCOLATE_KG = 0.02, 0.01  # what always remains in a bath and in a bowl, chosen


@dataclass(frozen=True)
class Start:
    """The warmer's state at power-on; None takes the rig's figure.

    The default is a bowl of freshly tempered chocolate, a little cool, in a bath at 25 °C.
    """

    water_c: float = 25.0
    bowl_c: float = 29.0
    chocolate_kg: float | None = None
    solid_kg: float = 0.0
    water_l: float | None = None
    room_c: float = 20.0
    lid: bool = False


class Warmer:
    """The built-in plant.

    Parameters
    ----------
    rig : Rig
        Sizes follow from its settings and `[plant]` table.
    start : Start, optional
        Temperatures and masses at power-on.

    Attributes
    ----------
    water_c, bowl_c, wall_c, element_c : float
        True temperatures now; `bowl_c` is the chocolate's.
    chocolate_kg, water_kg, seed_kg : float
        Masses now; `seed_kg` is the part of the chocolate that came in solid.
    heat_in_j, lost_j, matter_j : float
        Running sums: electrical heat, heat lost to the room (with vapour), enthalpy of what was added and removed.
    """

    def __init__(self, rig: Rig, start: Start | None = None) -> None:
        start = start or Start()
        self.body: Body = body_of(rig)
        self.room_c = start.room_c
        self.lid, self.bowl_in, self.draught, self.dip_kg_per_s = start.lid, True, 1.0, 0.0
        self.in_cold, self.cold_c = False, start.room_c  # off the warmer, the bowl may stand in cold water
        self.water_kg = self.body.water_kg if start.water_l is None else start.water_l * WATER_KG_PER_L
        self.chocolate_kg = start.chocolate_kg or float(rig.settings["chocolate_kg"])
        self.seed_kg = min(start.solid_kg, self.chocolate_kg)
        self._molten = self._molten_at(start.bowl_c)
        self.element_c = self.water_c = start.water_c
        self.bowl_c = self.wall_c = start.bowl_c
        self.heat_in_j = self.lost_j = self.matter_j = 0.0
        self._stir_s = 0.0
        self._refresh()
        films = self._water_wall + self._wall_bowl
        self.wall_c = (self._water_wall * self.water_c + self._wall_bowl * self.bowl_c) / films

    @property
    def temps_c(self) -> dict[str, float]:
        """True temperatures at the probes."""
        return {"water": self.water_c, "bowl": self.bowl_c}

    def energy_j(self) -> float:
        """Stored heat, relative to 0 °C with the seed molten."""
        body, temper = self.body, self.body.table.temper_latent_j_per_kg
        return (
            body.element_j_per_k * self.element_c
            + self._water_j_per_k() * self.water_c
            + body.wall_j_per_k * self.wall_c
            + self.chocolate_kg * chocolate_heat.enthalpy_j_per_kg(self.bowl_c, temper)
            - self.seed_kg * (1.0 - self._molten) * self.body.latent_j_per_kg
        )

    def step(self, power_w: float, dt_s: float) -> None:
        """Let `dt_s` (at most a second) pass with a constant electrical power into the heater."""
        if self._fresh_s <= 0.0:
            self._refresh()
        self._fresh_s -= dt_s
        body, room, rate = self.body, self.room_c, 1.0 / dt_s
        heat_water, leak, to_wall, to_bowl = body.element_w_per_k, self._leak, self._water_wall, self._wall_bowl
        water_loss, wall_loss, bowl_loss, vapour = self._water_loss, self._wall_loss, self._bowl_loss, self._vapour_w
        temper = body.table.temper_latent_j_per_kg
        bowl = self.bowl_c
        melting = self._melt(dt_s) * rate if self.seed_kg else 0.0
        store_e = body.element_j_per_k * rate
        store_w = self._water_j_per_k() * rate
        store_b = body.wall_j_per_k * rate
        store_c = self.chocolate_kg * chocolate_heat.specific_heat_j_per_kgk(bowl, temper) * rate

        # The four balances form a chain; eliminate from the element down, then substitute back up.
        diag_e = store_e + heat_water + leak
        from_e = heat_water / diag_e
        right_e = store_e * self.element_c + power_w + leak * room
        diag_w = store_w + heat_water + to_wall + water_loss - heat_water * from_e
        from_w = to_wall / diag_w
        right_w = store_w * self.water_c + water_loss * room - vapour + from_e * right_e
        diag_b = store_b + to_wall + to_bowl + wall_loss - to_wall * from_w
        from_b = to_bowl / diag_b
        right_b = store_b * self.wall_c + wall_loss * self._around_c + from_w * right_w
        diag_c = store_c + to_bowl + bowl_loss - to_bowl * from_b
        new_bowl = (store_c * bowl + bowl_loss * room - melting + from_b * right_b) / diag_c
        wall = right_b / diag_b + from_b * new_bowl
        water = right_w / diag_w + from_w * wall
        element = right_e / diag_e + from_e * water

        self.element_c, self.water_c, self.wall_c, self.bowl_c = element, water, wall, new_bowl
        self.heat_in_j += power_w * dt_s
        self.lost_j += dt_s * (
            leak * (element - room) + water_loss * (water - room) + wall_loss * (wall - self._around_c)
            + bowl_loss * (new_bowl - room) + vapour
        )
        if vapour:
            self._evaporate(dt_s)
        if self.dip_kg_per_s:
            self._dip(dt_s)
        if self._stir_s > 0.0:
            self._stir_s -= dt_s

    # -- what people add and remove, with its enthalpy ----------------------------------------------------------------

    def refill(self, mass_kg: float, temp_c: float) -> None:
        """Pour tempered chocolate in and stir it."""
        temper = self.body.table.temper_latent_j_per_kg
        added_j = mass_kg * chocolate_heat.enthalpy_j_per_kg(temp_c, temper)
        held_j = self.chocolate_kg * chocolate_heat.enthalpy_j_per_kg(self.bowl_c, temper)
        self.chocolate_kg += mass_kg
        self.bowl_c = chocolate_heat.temperature_c((held_j + added_j) / self.chocolate_kg, temper)
        self.matter_j += added_j
        self._stir_s = STIR_AFTER_S
        self.renew()

    def seed(self, mass_kg: float, temp_c: float) -> None:
        """Add solid pieces and stir; they melt over minutes, as far as the temperature allows."""
        unmelted = self.seed_kg * (1.0 - self._molten) + mass_kg * (1.0 - self._molten_at(temp_c))
        self.refill(mass_kg, temp_c)
        self.seed_kg += mass_kg
        self._molten = 1.0 - unmelted / self.seed_kg
        self.matter_j -= mass_kg * (1.0 - self._molten_at(temp_c)) * self.body.latent_j_per_kg

    def stir(self, for_s: float) -> None:
        """Stir the chocolate for `for_s`."""
        self._stir_s = max(self._stir_s, for_s)
        self.renew()

    def top_up(self, litres: float, temp_c: float) -> None:
        """Pour water into the bath."""
        mass_kg = litres * WATER_KG_PER_L
        held = self._water_j_per_k()
        added = mass_kg * WATER_J_PER_KGK
        self.water_c = (held * self.water_c + added * temp_c) / (held + added)
        self.water_kg += mass_kg
        self.matter_j += added * temp_c
        self.renew()

    def swap(self, litres: float, temp_c: float) -> None:
        """Replace some of the bath's water."""
        self.top_up(self.take_out_l(litres), temp_c)

    def take_out_l(self, litres: float) -> float:
        """Ladle water out; returns the litres there were to take."""
        out_kg = min(litres * WATER_KG_PER_L, self.water_kg - LEAST_WATER_KG)
        self.water_kg -= out_kg
        self.matter_j -= out_kg * WATER_J_PER_KGK * self.water_c
        self.renew()
        return out_kg / WATER_KG_PER_L

    def renew(self) -> None:
        """Compute new film coefficients at the next step, because something changed."""
        self._fresh_s = 0.0

    # -- inside a step ----------------------------------------------------------------------------------------------

    def _water_j_per_k(self) -> float:
        return self.water_kg * WATER_J_PER_KGK + self.body.vessel_j_per_k

    def _evaporate(self, dt_s: float) -> None:
        gone_kg = min(self._vapour_kg_per_s * dt_s, self.water_kg - LEAST_WATER_KG)
        self.water_kg -= gone_kg
        self.matter_j -= gone_kg * WATER_J_PER_KGK * self.water_c
        if self.water_kg <= LEAST_WATER_KG:
            self.renew()

    def _dip(self, dt_s: float) -> None:
        gone_kg = min(self.dip_kg_per_s * dt_s, self.chocolate_kg - LEAST_CHOCOLATE_KG)
        left = 1.0 - gone_kg / self.chocolate_kg
        self.matter_j -= gone_kg * chocolate_heat.enthalpy_j_per_kg(self.bowl_c, self.body.table.temper_latent_j_per_kg)
        if self.seed_kg:
            self.matter_j += (1.0 - left) * self.seed_kg * (1.0 - self._molten) * self.body.latent_j_per_kg
            self.seed_kg *= left
        self.chocolate_kg *= left

    def _molten_at(self, temp_c: float) -> float:
        """Share of its latent heat that a solid piece takes up at a temperature."""
        return chocolate_heat.molten_share(temp_c, self.body.table.milk_fat_k)

    def _melt(self, dt_s: float) -> float:
        """Heat that the seed takes in this step, J. It only melts: `temper_latent_j_per_kg` covers setting."""
        more = (self._molten_at(self.bowl_c) - self._molten) * dt_s / chocolate_heat.SEED_MELT_S
        if more <= 0.0:
            return 0.0
        self._molten += more
        return more * self.seed_kg * self.body.latent_j_per_kg

    # -- film coefficients --------------------------------------------------------------------------------------------

    def _refresh(self) -> None:
        body, table = self.body, self.body.table
        self._fresh_s = REFRESH_S
        stirred = self.dip_kg_per_s > 0.0 or self._stir_s > 0.0
        film = table.stirred_film_w_per_m2k if stirred else table.rest_film_w_per_m2k
        self._leak = table.heater_leak * body.element_w_per_k
        self._wall_bowl = film * body.touching_m2(self.chocolate_kg)
        self._water_wall = table.water_film_w_per_m2k * body.wetted_m2 if self.bowl_in else 0.0
        self._bowl_loss = self._top_film(self.bowl_c, body.bowl_diameter_m) * body.base_m2
        if self.lid:
            self._bowl_loss *= LID_SHARE
        self._around_c, self._wall_loss = self.room_c, self._bare_wall_w_per_k()
        if self.in_cold and not self.bowl_in:
            self._around_c, self._wall_loss = self.cold_c, table.water_film_w_per_m2k * body.wetted_m2
        self._water_loss = self._pot_w_per_k()
        self._set_vapour()

    def _top_film(self, surface_c: float, diameter_m: float) -> float:
        convection = air.top_convection_w_per_m2k(surface_c, self.room_c, diameter_m)
        return convection * self.draught + air.radiation_w_per_m2k(surface_c, self.room_c, SURFACE_EMISSIVITY)

    def _upright_film(self, surface_c: float, height_m: float) -> float:
        convection = air.convection_w_per_m2k(surface_c, self.room_c, height_m, air.UPRIGHT)
        return convection * self.draught + air.radiation_w_per_m2k(surface_c, self.room_c, STEEL_EMISSIVITY)

    def _bare_wall_w_per_k(self) -> float:
        body = self.body
        film = self._upright_film(self.wall_c, body.bowl_height_m)
        bare_m2 = body.dry_side_m2 if self.bowl_in else body.side_m2
        return film * bare_m2 + (0.0 if self.bowl_in else body.table.base_w_per_m2k * body.base_m2)

    def _open_m2(self) -> float:
        body = self.body
        return body.ring_m2 * (1.0 - body.table.ring_cover) if self.bowl_in else body.pot_m2

    def _pot_w_per_k(self) -> float:
        body = self.body
        side = self._upright_film(self.water_c, body.pot_height_m)
        if body.table.insulation_mm:
            side = 1.0 / (1.0 / side + body.table.insulation_mm / 1000.0 / INSULATION_W_PER_MK)
        surface = self._top_film(self.water_c, body.pot_diameter_m)
        return side * body.pot_side_m2 + surface * self._open_m2() + body.table.base_w_per_m2k * body.pot_m2

    def _set_vapour(self) -> None:
        wet = self.body.is_bath and self.water_kg > LEAST_WATER_KG
        flux = air.evaporation_kg_per_m2s(self.water_c, self.room_c, self.body.table.humidity) if wet else 0.0
        self._vapour_kg_per_s = flux * self._open_m2() * self.draught
        self._vapour_w = self._vapour_kg_per_s * air.latent_j_per_kg(self.water_c)
