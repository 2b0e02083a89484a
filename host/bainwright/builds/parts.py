"""What a build is made of: the rated parts between the supply and the heater, and the metal that is heated."""

from __future__ import annotations

import math
from dataclasses import dataclass

from bainwright.physics.materials import WATER_J_PER_LK

SUPPLY_V = 24.0
WATTS_WITHIN = 0.2  # of those stated, chosen: mats differ by a tenth, supplies by half of that (both from memory)
ALUMINIUM_J_PER_KGK = 897.0  # at room temperature; handbooks, from memory


def area_m2(sides_m: tuple[float, ...]) -> float:
    """Area of a disc, given by its diameter alone, or of a rectangle, given by its two sides."""
    return math.pi / 4.0 * sides_m[0] ** 2 if len(sides_m) == 1 else sides_m[0] * sides_m[1]


def size_text(sides_m: tuple[float, ...]) -> str:
    """The same as one orders it: ``round, 20 cm`` or ``14 x 28 cm``."""
    text = " x ".join(f"{100.0 * side_m:g}" for side_m in sides_m) + " cm"
    return text if len(sides_m) > 1 else f"round, {text}"


@dataclass(frozen=True)
class Mat:
    """One silicone heating mat with its own cut-out and thermal fuse.

    Attributes
    ----------
    power_w : float
        At 24 V.
    sides_m : tuple of float
        Its heated area: the diameter of a round one, or both sides.
    lead_mm2 : float
        Its own leads, copper cross-section.
    most_c : float
        The temperature it is rated for.
    """

    power_w: float
    sides_m: tuple[float, ...]
    lead_mm2: float
    most_c: float = 200.0  # silicone rubber, from memory

    @property
    def area_m2(self) -> float:
        """Heated area."""
        return area_m2(self.sides_m)

    @property
    def size(self) -> str:
        """As one orders it."""
        return size_text(self.sides_m)

    @property
    def ohm(self) -> float:
        """Its resistance."""
        return SUPPLY_V**2 / self.power_w


@dataclass(frozen=True)
class CutOut:
    """A bimetal cut-out with manual reset.

    Attributes
    ----------
    opens_c, tolerance_k : float
        Where it opens, and how far it may differ.
    rated_a : float
        What it may switch at 24 V DC.
    """

    opens_c: float
    tolerance_k: float
    rated_a: float

    @property
    def earliest_c(self) -> float:
        """The lowest temperature at which it may open."""
        return self.opens_c - self.tolerance_k

    @property
    def latest_c(self) -> float:
        """The highest temperature at which it may still be closed."""
        return self.opens_c + self.tolerance_k


@dataclass(frozen=True)
class ThermalFuse:
    """A one-shot thermal fuse: its mark, its earliest and latest opening, the highest temperature it withstands
    continuously, and its DC rating."""

    marked_c: float
    earliest_c: float
    latest_c: float
    holds_c: float
    rated_a: float


@dataclass(frozen=True)
class Transistor:
    """A logic-level n-MOSFET as its data sheet gives it.

    Attributes
    ----------
    kind : str
        An example by type.
    drain_v : float
        The most between drain and source.
    threshold_v : float
        The highest threshold.
    switched_nc : float
        The most charge that its gate takes between off and fully on, nC.
    siemens, at_a : float
        Transconductance, and the current it is given at.
    most_c : float
        The junction's limit.
    """

    kind: str
    drain_v: float
    threshold_v: float
    switched_nc: float
    siemens: float
    at_a: float
    most_c: float = 175.0  # from memory


@dataclass(frozen=True)
class HeatSink:
    """What Q1 is screwed to: °C/W from the junction to the air of the closed box, and its mass of aluminium, kg."""

    k_per_w: float
    kg: float

    @property
    def j_per_k(self) -> float:
        """The heat that it stores."""
        return self.kg * ALUMINIUM_J_PER_KGK


@dataclass(frozen=True)
class Metal:
    """What the mat is glued to: its thickness, and the metal's density (kg/m³), heat (J/kg·K), conduction (W/m·K)."""

    name: str
    thick_m: float
    kg_per_m3: float
    j_per_kgk: float
    w_per_mk: float

    def stores_l(self, area_m2: float) -> float:
        """The heat that so much of it stores, as litres of water."""
        return area_m2 * self.thick_m * self.kg_per_m3 * self.j_per_kgk / WATER_J_PER_LK


@dataclass(frozen=True)
class Build:
    """One warmer: what it heats, and the rating of each part.

    Attributes
    ----------
    name : str
        As files and commands write it.
    made_of : str
        In words, after its watts.
    heats : str
        ``water`` or ``plate``.
    vessel : str
        What a person calls the thing on the mat.
    mat, mat_count : Mat, int
        As many alike, side by side on the supply.
    base : Metal
        What they are glued to.
    base_sides_m : tuple of float
        Its size: the width inside of a round vessel, or both sides of a plate.
    wall_m : float or None
        Height of the vessel's wall inside; None on a plate.
    water_l, bowl_kg, chocolate_kg : float
        Filled for an evening; a plate's litres follow from its metal.
    clip_kg : float or None
        What each of the clips at the rim holds an empty bowl down with; None on a plate, where none floats.
    feet_m : float
        Height of the tray's feet.
    bowl_offset_c : float
        Water or plate over the chocolate in a steady hold, before it is measured.
    lag_s : float
        Of the heater, for the rig file.
    hard_limit_c : float
        Where the firmware trips.
    supply_a, supply_off_v, fuse_a : float
        Rated current of the supply, the voltage at which it shuts itself off, and the main fuse.
    guard_fuse_a : float
        F3, for the guard relay's branch.
    mat_fuse_a : float or None
        A fuse for each mat, where there are several.
    wire_mm2, run_m : float
        Cable of one mat: copper cross-section, and length one way.
    switch : Transistor
        Q1.
    sink : HeatSink
        What Q1 is screwed to.
    on_switch : ThermalFuse
        TF2, on the tab of Q1, in the guard relay's branch.
    relay_a, coil_ohm, pull_in_v : float
        Guard relay: contact at 30 V DC, coil, and the voltage at which a cold coil surely closes it.
    inlet_a, plug_a, hand_switch_a : float
        The inlet X0, the plug of one mat's cable, and the hand switch S1, at 30 V DC.
    contact_ohm : float
        Relay, plug, cut-outs and fuses in one mat's path.
    on_mat, on_vessel : CutOut
        TCO1 and TCO2.
    fuse : ThermalFuse
        On each mat.
    relayed : bool
        Whether the cut-outs carry a second relay's coil in place of the heater's current.
    """

    name: str
    made_of: str
    heats: str
    vessel: str
    mat: Mat
    mat_count: int
    base: Metal
    base_sides_m: tuple[float, ...]
    wall_m: float | None
    water_l: float
    bowl_kg: float
    chocolate_kg: float
    clip_kg: float | None
    feet_m: float
    bowl_offset_c: float
    lag_s: float
    hard_limit_c: float
    supply_a: float
    supply_off_v: float
    fuse_a: float
    guard_fuse_a: float
    mat_fuse_a: float | None
    wire_mm2: float
    run_m: float
    switch: Transistor
    sink: HeatSink
    on_switch: ThermalFuse
    relay_a: float
    coil_ohm: float
    pull_in_v: float
    inlet_a: float
    plug_a: float
    hand_switch_a: float
    contact_ohm: float
    on_mat: CutOut
    on_vessel: CutOut
    fuse: ThermalFuse
    relayed: bool = False

    @property
    def title(self) -> str:
        """What it is, in words."""
        return f"{self.heater_w:g} W {self.made_of}"

    @property
    def base_m2(self) -> float:
        """Area of what the mats are glued to."""
        return area_m2(self.base_sides_m)

    @property
    def refs(self) -> tuple[str, ...]:
        """What follows the names of each mat's own parts: nothing for a single one, else ``a``, ``b``."""
        return ("",) if self.mat_count == 1 else tuple("abcd"[: self.mat_count])

    @property
    def heater_w(self) -> float:
        """All mats together at 24 V."""
        return self.mat_count * self.mat.power_w

    @property
    def supply_w(self) -> float:
        """What the supply is rated for."""
        return SUPPLY_V * self.supply_a
