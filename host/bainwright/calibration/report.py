"""What a calibration found, in words and as JSON; on a virtual warmer also whether it found the built-in error."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import msgspec

from bainwright.calibration import calibration_record, reading
from bainwright.calibration.fit import AT_C
from bainwright.calibration.warmer import Warmer
from bainwright.core.json_text import json_text
from bainwright.files.chocolate import Profile
from bainwright.files.rig import load_rig
from bainwright.virtual.probes import Element

SAME_C = 1e-4  # chosen: a rig file has six digits

Say = Callable[..., None]


def show(warmer: Warmer, profile: Profile, seed: int, *, as_json: bool, say: Say) -> int:
    """Show what is stored and what follows from it.

    Returns
    -------
    int
        The exit status: 1 when a virtual probe's error was not found within the stated uncertainty.
    """
    width_k = profile.high_c - profile.low_c
    changes = calibration_record.changes(warmer.record, warmer.settings)
    now = datetime.now(UTC) + timedelta(seconds=1)
    notes = calibration_record.notes(warmer.record, {**warmer.settings, **changes}, width_k, now)
    missed = _missed(warmer, seed) if warmer.virtual else []
    for note in notes + missed:
        say(f"bain: {note}", err=True)
    if as_json:
        say(json_text(_result(warmer, width_k, changes, notes + missed, seed)))
    else:
        for line in calibration_record.sentences(warmer.record) or ["nothing is calibrated yet"]:
            say(("VIRTUAL: " if warmer.simulated else "") + line)
        if not warmer.virtual and changes:
            apart = _apart(warmer, changes)
            there = f" and {warmer.rig.source}" if warmer.rig and not apart else ""
            say(f"Stored in {warmer.path}{there}.")
            if apart and warmer.rig:
                say(f"{warmer.rig.source} has other values; wanted there: {', '.join(apart)}")
    return 1 if missed else 0


def _apart(warmer: Warmer, changes: dict[str, float]) -> list[str]:
    """The settings that follow from the record and are others in the rig file, as when a disk filled between both."""
    if warmer.rig is None:
        return []
    there = load_rig(warmer.rig.source).settings
    return [f"{name} = {value:g}" for name, value in changes.items() if abs(float(there[name]) - value) > SAME_C]


def _result(warmer: Warmer, width_k: float, changes: dict[str, float], notes: list[str], seed: int) -> dict[str, Any]:
    result = {
        "virtual": warmer.simulated, "warmer": warmer.record.warmer,
        "file": None if warmer.virtual else str(warmer.path),
        "window_k": width_k, "at_c": AT_C, **msgspec.to_builtins(warmer.record), "settings": changes, "notes": notes,
    }  # fmt: skip
    if warmer.virtual:
        result["built_in_error_k"] = _built_in_k(warmer, seed)
    return result


def _built_in_k(warmer: Warmer, seed: int) -> dict[str, float]:
    """The error that each virtual probe was built with."""
    assert warmer.rig is not None
    table = warmer.rig.plant
    built = {"water": table.water_probe_bias_c, "bowl": table.bowl_probe_bias_c}
    return {place: Element(place, seed, 0.0, 0.0, built[place], AT_C).bias_c
            for place in reading.places_of(warmer.settings)}


def _missed(warmer: Warmer, seed: int) -> list[str]:
    missed = []
    for place, error_k in _built_in_k(warmer, seed).items():
        probe = warmer.record.probes[calibration_record.identity(warmer.settings, place)]
        found_k = probe.offset_c + (probe.gain - 1.0) * AT_C
        if abs(found_k + error_k) > probe.uncertainty_k:
            missed.append(f"the virtual {reading.NAMES[place]} was built {error_k:+.3f} °C wrong; {-found_k:+.3f} °C "
                          f"was found, ± {probe.uncertainty_k:.2f} °C")
    return missed
