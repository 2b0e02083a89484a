"""How much chocolate a batch is: the mass that was typed, or what the pieces take."""

from __future__ import annotations

from typing import Protocol

from bainwright.core.errors import UseError
from bainwright.core.masses import Shown, parse_mass_kg, parse_share

DEFAULT_COATING, COATING_LOW, COATING_HIGH = 0.33, 0.25, 0.40  # of the finished piece; common practice, no source
DEFAULT_WASTE = 0.12  # of what is used, 10-15 %; common practice, no source
LEAST_KG, MOST_KG = 0.05, 100.0  # the smallest bowl a rig may have; more is no batch for one pair of hands


class MassOptions(Protocol):
    """The options that say how much."""

    @property
    def total(self) -> str | None: ...
    @property
    def pieces(self) -> int | None: ...
    @property
    def coating(self) -> str | None: ...
    @property
    def centre(self) -> str | None: ...
    @property
    def waste(self) -> str | None: ...
    @property
    def left(self) -> str | None: ...


def total_kg(options: MassOptions, shown: Shown, assumed: list[str]) -> float:
    """The mass of the batch, seed included.

    Raises
    ------
    UseError
        For options that contradict each other, or a mass that is no batch.
    """
    if options.total is not None and options.pieces is not None:
        raise UseError("--total and --pieces both say how much", hint="give one of them")
    if options.total is not None:
        stray = [f"--{name}" for name in ("coating", "centre", "waste", "left") if getattr(options, name) is not None]
        if stray:
            raise UseError(
                f"{' and '.join(stray)} {'belongs' if len(stray) == 1 else 'belong'} to --pieces",
                hint=f"leave {'it' if len(stray) == 1 else 'them'} out, or give --pieces in place of --total",
            )
        return parse_mass_kg(options.total, "--total", LEAST_KG, MOST_KG)
    if options.pieces is None:
        raise UseError(
            "how much chocolate?",
            wanted="--total MASS, or --pieces N with --coating",
            hint="for instance --total 1.8kg, or --pieces 140 --coating 4g",
        )
    return _of_pieces_kg(options, options.pieces, shown, assumed)


def _of_pieces_kg(options: MassOptions, pieces: int, shown: Shown, assumed: list[str]) -> float:
    waste = parse_share(options.waste, "--waste", 0.0, 0.5) if options.waste else DEFAULT_WASTE
    left_kg = parse_mass_kg(options.left, "--left", 0.0, MOST_KG) if options.left else 0.0
    coating_kg = _coating_kg(options, assumed)
    mass_kg = pieces * coating_kg / (1.0 - waste) + left_kg
    if not options.left:
        assumed.insert(0, "nothing is added for the last of the bowl, too little to dip from (--left 250g adds it)")
    assumed.append(
        f"{_counted(pieces)} {shown.mass(coating_kg)} of coating{'' if pieces == 1 else ' each'}, and "
        f"{100 * waste:.0f} % is wasted"
    )
    if not LEAST_KG <= mass_kg <= MOST_KG:
        raise UseError(
            "--pieces",
            got=f"{pieces} {'piece' if pieces == 1 else 'pieces'}, {shown.little(mass_kg)} in all",
            wanted=f"{shown.mass(LEAST_KG)} to {shown.mass(MOST_KG)}",
            hint="check the number of pieces and the coating's unit",
        )
    return mass_kg


def _counted(pieces: int) -> str:
    return "1 piece takes" if pieces == 1 else f"{pieces} pieces take"


def _coating_kg(options: MassOptions, assumed: list[str]) -> float:
    """Coating on one piece: a mass, or a share of the finished piece round a centre of known mass."""
    text = options.coating or f"{100 * DEFAULT_COATING:.0f}%"
    if not text.strip().endswith("%"):
        return parse_mass_kg(text, "--coating", 0.0001, 1.0)
    if not options.centre:
        raise UseError(
            "--coating as a percentage needs the centre's mass",
            wanted="--centre MASS, or --coating MASS",
            hint="for instance --coating 33% --centre 8g, or --coating 4g",
        )
    share = parse_share(text, "--coating", 0.05, 0.80)
    if not COATING_LOW <= share <= COATING_HIGH:
        usual = f"{100 * COATING_LOW:.0f} to {100 * COATING_HIGH:.0f} %"
        assumed.append(f"the coating is {100 * share:.0f} % of the piece; {usual} is usual")
    return parse_mass_kg(options.centre, "--centre", 0.0005, 1.0) * share / (1.0 - share)
