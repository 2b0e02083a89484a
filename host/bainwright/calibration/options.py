"""What was asked of `bain calibrate`: the options, which of them go together, and the baths they name."""

from __future__ import annotations

from dataclasses import dataclass

from bainwright.calibration.fit import Known, boil_known, fever_known, ice_known
from bainwright.core.errors import UseError
from bainwright.core.masses import parse_temp_c

FEVER_LOW_C, FEVER_HIGH_C = 34.0, 42.0  # what a fever thermometer shows


@dataclass(frozen=True)
class CalibrateOptions:
    """The options as typed."""

    port: str | None = None
    virtual: str | None = None
    rig: str | None = None
    chocolate: str = "dark"
    fever: str | None = None
    ice: bool = False
    boil: bool = False
    altitude: float | None = None
    pressure: float | None = None
    lifted: str | None = None
    bowl: tuple[str, ...] = ()
    show: bool = False
    forget: bool = False
    seed: int | None = None

    @property
    def reads_no_board(self) -> bool:
        """A record is shown, or pairs are typed in: no probe is read."""
        return self.rig is not None and (self.show or (bool(self.bowl) and all("/" in each for each in self.bowl)))


def fever_bath(text: str, option: str) -> Known:
    """The bath that a fever thermometer shows.

    Raises
    ------
    UseError
        If that is no temperature, or outside what such a thermometer shows.
    """
    return fever_known(parse_temp_c(text, option, FEVER_LOW_C, FEVER_HIGH_C))


def named_baths(options: CalibrateOptions) -> list[Known]:
    """The baths that the options name."""
    known = []
    if options.fever is not None:
        known.append(fever_bath(options.fever, "--fever"))
    if options.ice:
        known.append(ice_known())
    located = options.altitude is not None or options.pressure is not None
    if options.boil or (located and options.virtual is None):
        known.append(boil_known(options.altitude, options.pressure))
    return known


def refuse_combinations(options: CalibrateOptions, baths: int, has_person: bool) -> None:
    """Refuse options that do not go together.

    Parameters
    ----------
    options : CalibrateOptions
        As typed.
    baths : int
        How many baths they name.
    has_person : bool
        Somebody sits at a terminal and can be asked.

    Raises
    ------
    UseError
        With what to leave out, or what is missing.
    """
    if options.virtual is not None:
        for option in ("port", "rig", "fever", "lifted"):
            if getattr(options, option) is not None:
                raise UseError(f"--{option} is for a real warmer", hint="leave it out: --virtual does every step")
        if options.ice or options.bowl or options.show or options.forget or options.boil:
            raise UseError("--virtual plays a whole calibration and stores nothing",
                           hint="it goes with --altitude, --seed, --chocolate and --json")
        return
    acts = baths + bool(options.lifted) + bool(options.bowl) + options.show
    if acts > 1:
        raise UseError("one bath at a time: the probes must be moved between them",
                       hint="give one, move the probes, give the next; each result is stored for a day")
    if not acts and not has_person:
        raise UseError("what are the probes in?", wanted="--fever TEMP, --ice, --boil, --lifted, --bowl or --show",
                       hint="at a terminal it asks, step by step")
