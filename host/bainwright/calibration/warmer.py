"""The warmer that is calibrated: its board or none, its settings and rig file, and its record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bainboard import settings as board
from bainwright.calibration import calibration_record, reading, rig_editor
from bainwright.calibration.baths import Bench, LiveBench, VirtualBench
from bainwright.calibration.fit import boil_known, fever_known, ice_known
from bainwright.calibration.options import CalibrateOptions
from bainwright.core.errors import RefusedError, UseError
from bainwright.files.documents import document
from bainwright.files.rig import DEFAULT_RIG, Rig, load_rig
from bainwright.link.protocol import Link
from bainwright.rigs.board import refuse_another
from bainwright.virtual.probe_ids import name_probes
from bainwright.words.advice import at_rest, refuse_heat_at_rest

VIRTUAL_FEVER_C = 38.2  # what a fever thermometer shows in a virtual bath


@dataclass
class Warmer:
    """The warmer that is calibrated.

    Attributes
    ----------
    bench : Bench
        Its board, with the probes in a bath.
    settings : dict
        What the board works with.
    rig : Rig or None
        Its rig file, if one was named.
    path : Path
        Where its record is.
    record : Record
        What was measured so far.
    virtual : bool
        A board of this process; nothing is stored.
    simulated : bool
        No real warmer is behind it: every line says VIRTUAL.
    """

    bench: Bench
    settings: dict[str, Any]
    rig: Rig | None
    path: Path
    record: calibration_record.Record
    virtual: bool = False
    simulated: bool = False

    def store(self, link: Link | None) -> None:
        """Put the results into record, rig file and board; after every point, so that stopping later loses nothing.

        Raises
        ------
        UseError
            If the settings that follow cannot be.
        """
        changes = calibration_record.changes(self.record, self.settings)
        values, why = board.check(board.SETTINGS, {**self.settings, **changes})
        if values is None:
            raise UseError("the settings that follow from it", got=why, hint="measure again with --forget")
        if self.virtual:
            return
        calibration_record.write(self.path, self.record)
        if self.rig is not None and Path(self.rig.source).is_file():
            rig_editor.put(Path(self.rig.source), changes)
        if link is not None and values != self.settings:
            link.upload("settings", document("settings", values))
            self.settings = values


class _NoBench:
    def bath(self, name: str) -> Any:
        raise UseError("there is no board to read")

    def close(self) -> None:
        """Nothing is open."""


def open_warmer(options: CalibrateOptions) -> Warmer:
    """The warmer that the options name, with its record.

    Raises
    ------
    BainError
        If its rig file, its record or its board is missing or wrong.
    """
    if options.reads_no_board:
        return _on_paper(options)
    return _virtual(options) if options.virtual is not None else _live(options)


def _on_paper(options: CalibrateOptions) -> Warmer:
    rig = load_rig(options.rig or "")
    path = calibration_record.path_for(rig.source, rig.name)
    return Warmer(_NoBench(), dict(rig.settings), rig, path, _record(path, rig.name))


def _virtual(options: CalibrateOptions) -> Warmer:
    rig = name_probes(load_rig(options.virtual or DEFAULT_RIG))
    known = [fever_known(VIRTUAL_FEVER_C), ice_known(), boil_known(options.altitude or 0.0, options.pressure)]
    bench = VirtualBench(rig, options.seed or 0, known)
    record = calibration_record.Record(rig.name)
    return Warmer(bench, dict(rig.settings), rig, Path(), record, virtual=True, simulated=True)


def _live(options: CalibrateOptions) -> Warmer:
    rig = load_rig(options.rig) if options.rig else None
    bench = LiveBench(options.port)
    try:
        bench.link.tells = bool(options.show or options.bowl)  # else it is refused with the same words
        hello = bench.link.hello()
        if not (options.show or options.bowl):
            _refuse_unless_idle(hello)
            refuse_heat_at_rest(hello)
        values = bench.link.settings(hello)
        if rig is not None:
            refuse_another(hello, rig)
            _refuse_other_probes(rig, values)
        path = calibration_record.path_for(rig.source if rig else None, values["name"])
        return Warmer(bench, values, rig, path, _record(path, values["name"]), simulated=bench.simulated)
    except BaseException:
        bench.close()
        raise


def _record(path: Path, name: str) -> calibration_record.Record:
    record = calibration_record.read(path)
    record.warmer = record.warmer or name
    return record


def _refuse_unless_idle(hello: Mapping[str, Any]) -> None:
    if hello.get("state") == "trip":
        raise RefusedError(at_rest(hello) or "this warmer has tripped and stays off",
                           hint="find the cause, hold the recessed button for 3 s, then calibrate")
    if hello.get("state") != "idle":
        raise RefusedError("a hold is running, and probes are calibrated with the heat locked out",
                           hint="let it end first; only --bowl is measured during a hold")


def _refuse_other_probes(rig: Rig, values: Mapping[str, Any]) -> None:
    """A calibration is a probe's: the file must name the probes that the board reads."""
    for place in reading.PLACES:
        for name in (f"probe.{place}.kind", f"probe.{place}.rom"):
            if rig.settings[name] != values[name]:
                raise UseError(f"{name} of rig {rig.source}", got=repr(rig.settings[name]),
                               wanted=f"{values[name]!r}, the board's", hint="bain rig send sends it the file's")
