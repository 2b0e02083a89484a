"""A chocolate as a person reads it: its temperature through an evening, its figures, and where they come from."""

from __future__ import annotations

from bainwright.chocolates.pages import PAGES
from bainwright.chocolates.path import draw, short
from bainwright.core.masses import Shown
from bainwright.files.chocolate import Profile
from bainwright.words import terms


def lines_of(p: Profile, shown: Shown) -> list[str]:
    """The lines of a screen.

    Parameters
    ----------
    p : Profile
        The chocolate.
    shown : Shown
        The units that the person reads.
    """
    lines = [f"{p.name} ({terms.kind(p.kind)})", "", *draw(p, shown), ""]
    melt, high, target = (short(temp_c, shown) for temp_c in (p.melt_c, p.high_c, p.target_c))
    if p.kind != "melted":
        cools, window = shown.temps(p.cool_low_c, p.cool_high_c), shown.temps(p.low_c, p.high_c)
        seeds = f"seed down to {high}"
        warms = f"cool to {cools}, warm back to {window}, never above {high} on the way"
        own, other = (warms, seeds) if p.cool_c else (seeds, warms)
        lines.append(f"Melt to {melt}, {own}, work at {target}. A test piece "
                     f"sets within {p.set_min:g} min; one that has not by {p.fail_min:g} min is not in temper.")
        lines.append(f"The other method: {other} (common practice, no source).")
    else:
        lines.append(f"Hold it at {target} with a lid on. It is treated as {terms.kind(p.of)}.")
    lines += [text for text in (p.note, p.source and f"Sources: {p.source}") if text]
    lines.append(f"Questions of the kitchen: bain profile about ({', '.join(PAGES)}).")
    return lines
