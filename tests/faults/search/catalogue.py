"""All bodies by name."""

from __future__ import annotations

from .bodies import DryPlate, InsulatedMat, OpenPan, ThickBase
from .layered import Layers, TwoZones

PLANTS = {plant.name: plant for plant in (TwoZones, ThickBase, OpenPan, DryPlate, InsulatedMat, Layers)}
