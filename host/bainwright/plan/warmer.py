"""What `bain tune` learned of a warmer, in place of what its litres, kilograms and watts suggest."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from bainwright.core.errors import UseError
from bainwright.files.rig import Rig
from bainwright.physics import air, heating
from bainwright.physics.geometry import Body, body_of
from bainwright.physics.heating import Scales, Surroundings
from bainwright.plan.spread import Spread
from bainwright.tuning.gains import Notes, foreign, read_gains

# A model's figure, and which scale it corrects.
LEARNED = (
    ("water_j_per_k", "store"),
    ("coupling_w_per_k", "film"),
    ("bath_loss_w_per_k", "bath_loss"),
    ("bowl_loss_w_per_k", "bowl_loss"),
)
AT_WATER_C, AT_BOWL_C, AT_ROOM_C, AT_HUMIDITY = 40.0, 32.0, 20.0, 0.5  # about where a warmer is when it is tuned
LOW, HIGH = 0.2, 5.0  # chosen: a factor beyond these belongs to another warmer


def learned_scales(rig: Rig, gains: str | None, spread: Spread, assumed: list[str]) -> tuple[Spread, Scales]:
    """The spread and the scales of a warmer: narrow and its own where a gains file has its model.

    Raises
    ------
    UseError, FileError
        When the file cannot be read, has no model, or is another warmer's.
    """
    if gains is None:
        assumed.append(
            f"{rig.name!r} behaves as its litres, kilograms and watts suggest (bain tune, then --gains FILE)"
        )
        return spread, Scales()
    notes = read_gains(Path(gains)).notes
    if other := foreign(notes, rig.settings):
        raise UseError("--gains", got=f"a file of another warmer: {other[0]}",
                       hint="leave --gains out, or tune this one")
    if not notes.model:
        raise UseError("--gains", got=gains, wanted="a file that bain tune wrote, with its [model] table")
    usual = _suggested(body_of(rig), float(rig.settings["chocolate_kg"]), rig)
    scales, learned = Scales(), spread
    for name, scale in LEARNED:
        if name not in notes.model or name in notes.not_identified:
            continue
        factor = notes.model[name] / usual[name]
        if not LOW <= factor <= HIGH:
            raise UseError(
                "--gains",
                got=f"{gains}, whose {name} is {factor:.1f} times what {rig.name!r} suggests",
                wanted="the file of this warmer",
                hint="tune this warmer: bain tune",
            )
        scales = replace(scales, **{scale: factor})
        learned = replace(learned, **{scale: _interval(notes, name)})
    assumed.append(f"the warmer behaves as {gains} has it")
    return learned, scales


def _interval(notes: Notes, name: str) -> tuple[float, float]:
    """The ends of a figure's interval, over the figure."""
    low, high = notes.intervals.get(name, [notes.model[name]] * 2)
    return low / notes.model[name], high / notes.model[name]


def _suggested(body: Body, full_kg: float, rig: Rig) -> dict[str, float]:
    """The same figures as the warmer's sizes suggest, full and left alone, as it is tuned."""
    around = Surroundings(AT_ROOM_C, AT_HUMIDITY, full_kg, rig.plant.ring_cover)
    to_wall, to_chocolate = heating.couplings_w_per_k(body, around)
    vapour_w = heating.vapour_kg_per_s(body, AT_WATER_C, around) * air.latent_j_per_kg(AT_WATER_C)
    bath = heating.pot_w_per_k(body, AT_WATER_C, around) + vapour_w / (AT_WATER_C - AT_ROOM_C)
    bowl = heating.top_w_per_k(body, AT_BOWL_C, around) + heating.side_w_per_k(body, AT_BOWL_C, around)
    return {
        "water_j_per_k": heating.bath_j_per_k(body),
        "coupling_w_per_k": to_wall * to_chocolate / (to_wall + to_chocolate),
        "bath_loss_w_per_k": bath,
        "bowl_loss_w_per_k": bowl,
    }
