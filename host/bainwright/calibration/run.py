"""A calibration from the options to the exit status."""

from __future__ import annotations

from collections.abc import Callable

from bainwright.calibration import calibration_record, reading, report
from bainwright.calibration.by_hand import measure_by_hand
from bainwright.calibration.dialogue import Ask, converse
from bainwright.calibration.fit import Known
from bainwright.calibration.measure import Report, heat_locked_out, identify_probes, measure_bath, play
from bainwright.calibration.options import CalibrateOptions, named_baths, refuse_combinations
from bainwright.calibration.warmer import Warmer, open_warmer
from bainwright.files.chocolate import load_profile

Say = Callable[..., None]


def run_calibration(options: CalibrateOptions, ask: Ask | None, *, as_json: bool, say: Say) -> int:
    """Measure what was asked for, or go through every step with the person.

    Parameters
    ----------
    options : CalibrateOptions
        As typed.
    ask : callable or None
        Asks the person; None where nobody sits at a terminal.
    as_json : bool
        Show the result as JSON.
    say : callable
        Prints a line; ``err=True`` for progress and hints.

    Returns
    -------
    int
        The exit status: 1 when a virtual probe's error was not found within the stated uncertainty.
    """
    profile = load_profile(options.chocolate)
    baths = named_baths(options)
    refuse_combinations(options, len(baths), ask is not None)
    warmer = open_warmer(options)
    try:
        if options.forget:
            warmer.record = calibration_record.Record(warmer.record.warmer)
        if not options.show:
            _measure(warmer, options, baths, ask, lambda text: say(f"bain: {text}", err=True))
    finally:
        warmer.bench.close()
    return report.show(warmer, profile, options.seed or 0, as_json=as_json, say=say)


def _measure(warmer: Warmer, options: CalibrateOptions, baths: list[Known], ask: Ask | None, show: Report) -> None:
    if options.bowl:
        measure_by_hand(warmer, options.bowl, show)
        return
    if warmer.virtual:
        play(warmer, show)
        return
    with heat_locked_out(warmer) as link:
        if options.lifted is not None:
            show(f"lift the {reading.NAMES[options.lifted]} out of the warm bath now")
            identify_probes(warmer, link, options.lifted, show)
        elif baths:
            measure_bath(warmer, link, baths[0], show)
        else:
            assert ask is not None
            converse(warmer, link, options.pressure, ask, show)
