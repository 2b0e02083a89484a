"""What is unusual about a chocolate's figures. Unusual is not wrong: the bag wins, and the figure is only named."""

from __future__ import annotations

from dataclasses import dataclass

from bainwright.files.chocolate import CAPS, Profile
from bainwright.words import terms


@dataclass(frozen=True)
class Usual:
    """The usual figures of a kind, °C, and their source."""

    low_c: float
    high_c: float
    melt_low_c: float
    melt_high_c: float
    source: str


_WEAK = "common practice, weak, no source"
_MELT = "melt: common practice, no source"
USUAL = {
    "dark": Usual(31.0, 32.0, 45.0, 50.0, f"McGee; Coady; {_MELT}"),
    "milk": Usual(30.0, 31.0, 40.0, 45.0, f"McGee; Coady; {_MELT}"),
    "white": Usual(27.0, 30.0, 40.0, 45.0, f"McGee 27-28, Coady 29-30; {_MELT}"),
    "ruby": Usual(28.0, 29.5, 40.0, 45.0, _WEAK),
    "caramelised_white": Usual(28.0, 29.5, 40.0, 45.0, _WEAK),
}
ROOM_C = 1.0  # a window this far beyond the usual one is worth a word; chosen
WIDE_K, NARROW_K = 2.0, 0.5  # chosen: a window is one or two degrees wide, a probe errs by half a degree
CEILING_K = 1.0  # a ceiling closer to its window leaves the bath no room; chosen
KEPT_UNDER_K = 2.0  # chosen: stock without a lid lies some 2 °C under its bath
KEEP_LOW_C, KEEP_HIGH_C = 38.0, 45.0  # melted stock: below it thickens, above milk's careful cap; common practice


def unusual_figures(profile: Profile) -> list[str]:
    """What is unusual, one sentence each; an empty list for an everyday chocolate.

    Parameters
    ----------
    profile : Profile
        Already checked: impossible figures are refused before.
    """
    found = _keeping(profile) if profile.kind == "melted" else _tempering(profile)
    if profile.never_above_c > CAPS[profile.of].never_above_c:
        cap = CAPS[profile.of]
        found.append(
            f"never above {profile.never_above_c:g} °C: the usual limit of "
            f"{terms.kind(profile.of)} is {cap.never_above_c:g} °C ({cap.source.rpartition(': ')[2]})")
    return found


def _tempering(p: Profile) -> list[str]:
    usual, kind = USUAL[p.kind], terms.kind(p.kind)
    found = []
    if p.low_c < usual.low_c - ROOM_C or p.high_c > usual.high_c + ROOM_C:
        found.append(f"a window of {p.low_c:g} to {p.high_c:g} °C: for {kind} {usual.low_c:g} to {usual.high_c:g} °C "
                     f"is usual ({usual.source.partition(';')[0] if kind != 'white' else usual.source})")
    if not usual.melt_low_c <= p.melt_c <= usual.melt_high_c:
        found.append(f"melted at {p.melt_c:g} °C: for {kind} {usual.melt_low_c:g} to {usual.melt_high_c:g} °C is usual")
    found += _width(p)
    if p.ceiling_c < p.high_c + CEILING_K:
        found.append(f"a ceiling of {p.ceiling_c:g} °C, {p.ceiling_c - p.high_c:.1f} °C over the window: the bath can "
                     "hardly heat the bowl")
    if p.ceiling_c > CAPS[p.kind].ceiling_c + ROOM_C:
        found.append(f"a ceiling of {p.ceiling_c:g} °C: at the bowl's wall {kind} loses its seed from "
                     f"about {CAPS[p.kind].ceiling_c:g} °C")
    return found


def _width(p: Profile) -> list[str]:
    width_k = p.high_c - p.low_c
    found = []
    if width_k < NARROW_K:
        found.append(f"a window {width_k:.1f} °C wide: a probe can be wrong by as much")
    if width_k > WIDE_K:
        found.append(f"a window {width_k:.1f} °C wide: 1 to 2 °C is usual")
    return found


def _keeping(p: Profile) -> list[str]:
    found = []
    if not KEEP_LOW_C <= p.target_c <= KEEP_HIGH_C:
        found.append(f"melted stock at {p.target_c:g} °C: {KEEP_LOW_C:g} to {KEEP_HIGH_C:g} °C is usual, 40 °C suits "
                     "every kind")
    if p.ceiling_c < p.high_c + KEPT_UNDER_K:
        found.append(f"a ceiling of {p.ceiling_c:g} °C, {p.ceiling_c - p.high_c:.1f} °C over the window: keep a lid "
                     "on, or the bath may not be warm enough for its top")
    return found


