"""Measuring: every probe in a known bath, which probe is which, and the whole of it on a virtual warmer."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from datetime import UTC, datetime

import msgspec

from bainwright.calibration import calibration_record, reading
from bainwright.calibration.baths import LIFTED, VirtualBench
from bainwright.calibration.fit import AT_C, FEVER, MUCH_K, Known, Point
from bainwright.calibration.warmer import Warmer
from bainwright.core.errors import LinkError, RefusedError, UseError
from bainwright.core.keys import Interrupts, ended_as_by_ctrl_c
from bainwright.link.protocol import Link

SWAPPED_HINT = "exchange probe.water.rom and probe.bowl.rom in the rig file, or the two plugs"

Report = Callable[[str], None]  # shows the person a line


@contextlib.contextmanager
def heat_locked_out(warmer: Warmer) -> Iterator[Link]:
    """The board with its heat locked out; it may heat again afterwards, unless this process is killed."""
    with warmer.bench.bath(FEVER) as link, ended_as_by_ctrl_c():
        try:
            reading.lock(link, reading.LOCK_S)
            yield link
        finally:
            # Gone, or restarted: then the lock is gone, too. A second Ctrl-C must not come between.
            with Interrupts(), contextlib.suppress(LinkError, RefusedError):
                reading.lock(link, 0)


def measure_bath(warmer: Warmer, link: Link, known: Known, report: Report) -> None:
    """Read every probe in a bath, and store what follows: of all of them or of none.

    Raises
    ------
    BainError
        If a probe does not settle, or the points contradict each other; nothing was stored.
    """
    places = reading.places_of(warmer.settings)
    read = reading.steady(link, warmer.settings, places, known.temp_c, report)
    at = datetime.now(UTC).isoformat(timespec="seconds")
    trial = msgspec.convert(msgspec.to_builtins(warmer.record), calibration_record.Record)
    for place in places:
        point = Point(known.bath, known.temp_c, known.u_k, read[place].raw_c, read[place].u_k, at)
        found = calibration_record.add(trial, warmer.settings, place, point)
        report(f"{known.bath} {known.temp_c:.2f} °C, {reading.NAMES[place]} {read[place].raw_c:.2f} °C: offset "
               f"{found.offset_c:+.2f} °C, gain {found.gain:.4f}, ± {found.uncertainty_k():.2f} °C at {AT_C:g} °C")
        if abs(found.shift_k) > MUCH_K:
            report(f"a correction of {found.shift_k:+.1f} °C is large for a probe: is the temperature right, and "
                   "read at the same moment?")
    warmer.record = trial
    warmer.store(link)


def identify_probes(warmer: Warmer, link: Link, lifted: str, report: Report) -> None:
    """Check that the probe which is lifted out is the one that the warmer takes it for.

    Raises
    ------
    UseError
        If they are swapped, or there is only one.
    """
    places = reading.places_of(warmer.settings)
    if len(places) < 2:
        raise UseError("there is only one probe, so none can be swapped", wanted="two probes", hint="skip this step")
    moved = reading.lifted(link, warmer.settings)
    if moved != lifted:
        raise UseError("the probes are swapped", got=f"the {reading.NAMES[moved]}'s reading moved",
                       wanted=f"the {reading.NAMES[lifted]}'s, which was lifted", hint=SWAPPED_HINT)
    for place in places:
        name = calibration_record.identity(warmer.settings, place)
        warmer.record.probes.setdefault(name, calibration_record.StoredProbe(place)).identified = True
    if not warmer.virtual:
        calibration_record.write(warmer.path, warmer.record)
    report("water and chocolate probe are not swapped")


def play(warmer: Warmer, report: Report) -> None:
    """Move a virtual warmer's probes from bath to bath; every board on the way has its heat locked out."""
    bench = warmer.bench
    assert isinstance(bench, VirtualBench)
    for known in bench.known:
        report(f"VIRTUAL: probes into the {known.bath} bath, {known.temp_c:.2f} °C; the heat is locked out")
        with bench.bath(known.bath) as link:
            measure_bath(warmer, link, known, report)
    if len(reading.places_of(warmer.settings)) > 1:
        with bench.bath(LIFTED) as link:
            link.hello()
            identify_probes(warmer, link, "bowl", report)
