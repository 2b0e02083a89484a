"""A calibration from the first word to the exit status."""

from __future__ import annotations

import contextlib
import json
import math
import statistics
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import msgspec

from bainboard import settings as board
from bainwright.calibration import calibration_record, reading, rig_editor
from bainwright.calibration.baths import LIFTED, Bench, LiveBench, VirtualBench
from bainwright.calibration.fit import AT_C, COVER, FEVER, MUCH_K, Known, Point, boil_known, fever_known, ice_known
from bainwright.core.errors import BainError, LinkError, RefusedError, UseError
from bainwright.core.masses import parse_metres, parse_temp_c
from bainwright.files.chocolate import Profile, load_profile
from bainwright.files.documents import document
from bainwright.files.rig import Rig, load_rig
from bainwright.link.protocol import Link
from bainwright.virtual.probe_ids import name_probes
from bainwright.virtual.probes import Element

SWAPPED_HINT = "exchange probe.water.rom and probe.bowl.rom in the rig file, or the two plugs"
HAND_K = 0.5  # a kitchen's hand thermometer, limit; chosen
ONE_PAIR_K = 0.5  # how far one reading by hand may be from the next, where there is no next; chosen
APART_MOST_K = 8.0  # settings: bowl_offset_c
EXCHANGED = "in a steady hold the water is the warmer one; are they exchanged, or is one in °F?"
FEW = 3  # readings by hand that say something of their spread
LOW_C, HIGH_C = 10.0, 60.0  # of water and chocolate in a hold
FEVER_LOW_C, FEVER_HIGH_C = 34.0, 42.0  # what a fever thermometer shows
VIRTUAL_FEVER_C = 38.2  # what it shows in a virtual bath

Say = Callable[..., None]
Ask = Callable[[str], str]  # a question; what was typed, empty for nothing


@dataclass(frozen=True)
class CalibrateAsked:
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
    afresh: bool = False
    seed: int = 0


@dataclass
class Warmer:
    """The warmer that is calibrated, and what came of it so far."""

    bench: Bench
    settings: dict[str, Any]
    rig: Rig | None
    path: Path
    record: calibration_record.Record
    virtual: bool = False
    simulated: bool = False
    done: list[str] = field(default_factory=list)


def calibrate_and_tell(asked: CalibrateAsked, ask: Ask | None, *, as_json: bool, say: Say) -> int:
    """Measure what was asked for, or go through all of it with the person.

    Parameters
    ----------
    asked : CalibrateAsked
        What was typed.
    ask : callable or None
        Asks the person; None where nobody sits at a terminal.

    Returns
    -------
    int
        The exit status: 1 when a virtual probe's error was not found within the stated uncertainty.
    """
    profile = load_profile(asked.chocolate)
    known = _known(asked)
    _refuse(asked, known, ask)
    if _without_board(asked):
        warmer = _on_paper(asked)
    else:
        warmer = _virtual(asked) if asked.virtual is not None else _live(asked)
    try:
        if asked.afresh:
            warmer.record = calibration_record.Record(warmer.record.warmer)
        _measure(warmer, asked, known, ask, say)
    finally:
        warmer.bench.close()
    return _tell(warmer, profile, as_json, say, asked.seed)


# -- what was asked for ------------------------------------------------------------------------------------------------


def _known(asked: CalibrateAsked) -> list[Known]:
    """The baths that the options name."""
    known = []
    if asked.fever is not None:
        known.append(fever_known(parse_temp_c(asked.fever, "--fever", FEVER_LOW_C, FEVER_HIGH_C)))
    if asked.ice:
        known.append(ice_known())
    if asked.boil or ((asked.altitude is not None or asked.pressure is not None) and asked.virtual is None):
        known.append(boil_known(asked.altitude, asked.pressure))
    return known


def _refuse(asked: CalibrateAsked, known: list[Known], ask: Ask | None) -> None:
    if asked.virtual is not None:
        for option in ("port", "rig", "fever", "lifted"):
            if getattr(asked, option) is not None:
                raise UseError(f"--{option} is for a real warmer", hint="a virtual one goes by itself")
        if asked.ice or asked.bowl or asked.show or asked.afresh or asked.boil:
            raise UseError("--virtual plays a whole calibration and keeps none of it",
                           hint="it goes with --altitude, --seed, --chocolate and --json")
        return
    acts = len(known) + bool(asked.lifted) + bool(asked.bowl) + asked.show
    if acts > 1:
        raise UseError("one bath at a time: the probes must be moved between them",
                       hint="give one, move the probes, give the next; what was measured is kept for a day")
    if not acts and ask is None:
        raise UseError("what are the probes in?", wanted="--fever TEMP, --ice, --boil, --lifted, --bowl or --show",
                       hint="at a terminal it asks, step by step")


def _without_board(asked: CalibrateAsked) -> bool:
    """A record is shown, or pairs are typed in: no probe is read."""
    return asked.rig is not None and (asked.show or (bool(asked.bowl) and all("/" in each for each in asked.bowl)))


# -- which warmer ------------------------------------------------------------------------------------------------------


class _NoBench:
    def bath(self, name: str) -> Any:
        raise UseError("no board is there to read")

    def close(self) -> None:
        """Nothing is open."""


def _on_paper(asked: CalibrateAsked) -> Warmer:
    rig = load_rig(asked.rig or "")
    path = calibration_record.path_for(rig.source, rig.name)
    return Warmer(_NoBench(), dict(rig.settings), rig, path, _named(calibration_record.read(path), rig.name))


def _virtual(asked: CalibrateAsked) -> Warmer:
    rig = name_probes(load_rig(asked.virtual or "pot"))
    known = [fever_known(VIRTUAL_FEVER_C), ice_known(), boil_known(asked.altitude or 0.0, asked.pressure)]
    bench = VirtualBench(rig, asked.seed, known)
    record = calibration_record.Record(rig.name)
    return Warmer(bench, dict(rig.settings), rig, Path(), record, virtual=True, simulated=True)


def _live(asked: CalibrateAsked) -> Warmer:
    rig = load_rig(asked.rig) if asked.rig else None
    bench = LiveBench(asked.port)
    try:
        hello = bench.link.hello()
        if not (asked.show or asked.bowl):
            _must_rest(str(hello.get("state")))
        values = bench.link.settings(hello)
        if rig is not None:
            _same_probes(rig, values)
        path = calibration_record.path_for(rig.source if rig else None, values["name"])
        record = _named(calibration_record.read(path), values["name"])
    except BaseException:
        bench.close()
        raise
    return Warmer(bench, values, rig, path, record, simulated=bench.simulated)


def _must_rest(state: str) -> None:
    if state == "trip":
        raise RefusedError("a trip is latched on this warmer", hint="find its cause and hold the recessed button for "
                           "3 s, then calibrate")
    if state != "idle":
        raise RefusedError("a hold is running, and probes are calibrated with the heat locked out",
                           hint="let it end first; --bowl alone belongs into a hold")


def _named(record: calibration_record.Record, name: str) -> calibration_record.Record:
    record.warmer = record.warmer or name
    return record


def _same_probes(rig: Rig, values: Mapping[str, Any]) -> None:
    """A calibration is a probe's: the file must mean the probes that the board reads."""
    for place in reading.PLACES:
        for name in (f"probe.{place}.kind", f"probe.{place}.rom"):
            if rig.settings[name] != values[name]:
                raise UseError(f"{name} of rig {rig.source}", got=repr(rig.settings[name]),
                               wanted=f"{values[name]!r}, as the board has it",
                               hint="bain hold --rig sends it the file's; then calibrate")


# -- measuring ---------------------------------------------------------------------------------------------------------


def _measure(warmer: Warmer, asked: CalibrateAsked, known: list[Known], ask: Ask | None, say: Say) -> None:
    if asked.show:
        return
    if asked.bowl:
        _by_hand(warmer, asked.bowl, say)
    elif warmer.virtual:
        _play(warmer, say)
    elif asked.lifted is not None:
        with _locked(warmer) as link:
            say(f"bain: lift the {reading.NAMES[asked.lifted]} out of the warm bath now", err=True)
            _tell_apart(warmer, link, asked.lifted, say)
    elif known:
        with _locked(warmer) as link:
            _point(warmer, link, known[0], say)
    else:
        assert ask is not None
        with _locked(warmer) as link:
            _dialogue(warmer, link, asked, ask, say)


@contextlib.contextmanager
def _locked(warmer: Warmer) -> Any:
    """The board with its heat locked out; whatever happens, it may heat again afterwards."""
    with warmer.bench.bath(FEVER) as link:
        reading.lock(link, reading.LOCK_S)
        try:
            yield link
        finally:
            with contextlib.suppress(LinkError, RefusedError):  # gone, or restarted: then there is no lock any more
                reading.lock(link, 0)


def _play(warmer: Warmer, say: Say) -> None:
    """A virtual warmer's probes go from bath to bath; every board on the way has its heat locked out."""
    bench = warmer.bench
    assert isinstance(bench, VirtualBench)
    for each in bench.known:
        say(f"bain: VIRTUAL: probes into the {each.bath} bath, {each.temp_c:.2f} °C; the heat is locked out", err=True)
        with bench.bath(each.bath) as link:
            link.hello()
            _point(warmer, link, each, say)
    if len(reading.places_of(warmer.settings)) > 1:
        with bench.bath(LIFTED) as link:
            link.hello()
            _tell_apart(warmer, link, "bowl", say)


def _point(warmer: Warmer, link: Link, known: Known, say: Say) -> None:
    """Read every probe in a bath, and keep what it says."""
    places = reading.places_of(warmer.settings)
    read = reading.steady(link, warmer.settings, places, known.temp_c, lambda text: say(f"bain: {text}", err=True))
    at = datetime.now(UTC).isoformat(timespec="seconds")
    trial = msgspec.convert(msgspec.to_builtins(warmer.record), calibration_record.Record)
    for place in places:  # all of them or none
        point = Point(known.bath, known.temp_c, known.u_k, read[place].raw_c, read[place].u_k, at)
        found = calibration_record.add(trial, warmer.settings, place, point)
        say(f"bain: {known.bath} {known.temp_c:.2f} °C, {reading.NAMES[place]} {read[place].raw_c:.2f} °C: offset "
            f"{found.offset_c:+.2f} K, gain {found.gain:.4f}, at {AT_C:g} °C ± {found.doubt_k():.2f} K", err=True)
        if abs(found.shift_k) > MUCH_K:
            say(f"bain: {found.shift_k:+.1f} K is much for a probe: is the figure right, and read at once?", err=True)
    warmer.record = trial
    _keep(warmer, link)


def _keep(warmer: Warmer, link: Link | None) -> None:
    """Into the record, the rig file and the board, after every point: what comes later may be broken off."""
    asked = calibration_record.changes(warmer.record, warmer.settings)
    values, why = board.check(board.SETTINGS, {**warmer.settings, **asked})
    if values is None:
        raise UseError("the settings that would come of it", got=why, hint="measure again with --afresh")
    if warmer.virtual:
        return
    calibration_record.write(warmer.path, warmer.record)
    if warmer.rig is not None and Path(warmer.rig.source).is_file():
        rig_editor.put(Path(warmer.rig.source), asked)
    if link is not None and values != warmer.settings:
        link.upload("settings", document("settings", values))
        warmer.settings = values


def _tell_apart(warmer: Warmer, link: Link, meant: str, say: Say) -> None:
    """The probe that was lifted must be the one that the warmer takes for it."""
    if len(reading.places_of(warmer.settings)) < 2:
        raise UseError("there is one probe only: nothing to tell apart")
    moved = reading.lifted(link, warmer.settings)
    if moved != meant:
        raise UseError("the probes are swapped", got=f"the {reading.NAMES[moved]}'s reading moved",
                       wanted=f"the {reading.NAMES[meant]}'s, which was lifted", hint=SWAPPED_HINT)
    for place in reading.places_of(warmer.settings):
        warmer.record.probes.setdefault(
            calibration_record.identity(warmer.settings, place), calibration_record.KeptProbe(place)).told_apart = True
    if not warmer.virtual:
        calibration_record.write(warmer.path, warmer.record)
    say("bain: water and chocolate probe are where the warmer takes them to be", err=True)


# -- with the person --------------------------------------------------------------------------------------------------


def _dialogue(warmer: Warmer, link: Link, asked: CalibrateAsked, ask: Ask, say: Say) -> None:
    """Bath by bath; every one may be skipped, every mistake is told and asked again."""
    both = len(reading.places_of(warmer.settings)) > 1
    say("bain: the heat is locked out. Every step may be skipped; what was measured is kept when you stop.", err=True)
    steps: list[tuple[str, Callable[[str], None]]] = [
        (f"1. Stir water at 37 to 39 °C, {'both probes' if both else 'the probe'} beside a fever thermometer. "
         "What does it show (38.2 or 100.8F; nothing skips)",
         lambda said: _point(warmer, link, fever_known(
             parse_temp_c(said, "the fever thermometer", FEVER_LOW_C, FEVER_HIGH_C)), say)),
        ("2. Crushed ice, water to its top, stirred for two minutes, probes off the walls. Type ice when they are in "
         "(nothing skips)", lambda said: _point(warmer, link, ice_known(), say)),
        ("3. A rolling boil, probes off the floor, hands out of the steam. How many metres above the sea "
         "(nothing skips)",
         lambda said: _point(warmer, link, boil_known(parse_metres(said, "the altitude"), asked.pressure), say)),
    ]
    if both:
        steps.insert(1, ("Which is which: type go, then lift the chocolate probe alone out of the warm bath (nothing "
                         "skips)", lambda said: _tell_apart(warmer, link, "bowl", say)))
    for question, act in steps:
        _step(question, act, ask, say)
    if not both:
        say("bain: no probe is in the chocolate. In a hold, once it stands still, measure it by hand: bain calibrate "
            "--bowl 31.4, three times over an hour", err=True)


def _step(question: str, act: Callable[[str], None], ask: Ask, say: Say) -> None:
    while True:
        said = ask(question).strip()
        if not said:
            return
        try:
            act(said)
            return
        except LinkError:
            raise
        except BainError as failed:
            say(f"bain: {failed}", err=True)


# -- an estimated bowl ------------------------------------------------------------------------------------------------


def _by_hand(warmer: Warmer, typed: tuple[str, ...], say: Say) -> None:
    """Water less chocolate, by a hand thermometer, while a hold stands still: here the heat is wanted."""
    if "bowl" in reading.places_of(warmer.settings):
        raise UseError("this warmer has a probe in the chocolate",
                       hint="--bowl is for one whose chocolate is estimated")
    now = datetime.now(UTC)
    bowl = warmer.record.bowl
    fresh = bool(bowl.at) and now - datetime.fromisoformat(bowl.at) < calibration_record.TOGETHER
    pairs = list(bowl.pairs) if fresh else []
    for text in typed:
        pairs.append(_pair(warmer, text))
    apart = [water_c - chocolate_c for water_c, chocolate_c in pairs]
    warmer.record.bowl = calibration_record.KeptBowl(pairs, round(_offset(apart), 3), round(max(apart) - min(apart), 3),
                                       round(_doubt_k(apart), 3), now.isoformat(timespec="seconds"))
    _keep(warmer, None)
    if len(pairs) < FEW:
        say(f"bain: {len(pairs)} of {FEW} readings: take the next in a quarter of an hour, they say how far it spreads",
            err=True)
    say("bain: the next hold takes it with --rig; a running hold keeps what it began with", err=True)


def _offset(apart: list[float]) -> float:
    offset_k = statistics.fmean(apart)
    if not 0.0 <= offset_k <= APART_MOST_K:
        raise UseError("water less chocolate", got=f"{offset_k:.1f} K", wanted=f"0 to {APART_MOST_K:g} K",
                       hint=EXCHANGED)
    return offset_k


def _doubt_k(apart: list[float]) -> float:
    spread_k = statistics.stdev(apart) if len(apart) >= FEW else ONE_PAIR_K
    return COVER * math.hypot(spread_k, HAND_K / math.sqrt(3.0))


def _pair(warmer: Warmer, text: str) -> tuple[float, float]:
    water, slash, chocolate = text.partition("/")
    if slash:
        water_c, chocolate_c = (parse_temp_c(each, "--bowl", LOW_C, HIGH_C) for each in (water, chocolate))
    else:
        chocolate_c = parse_temp_c(text, "--bowl", LOW_C, HIGH_C)
        with warmer.bench.bath(FEVER) as link:
            water_c = _held_water(link)
    if not -HAND_K <= water_c - chocolate_c <= APART_MOST_K:  # each by itself: among others a slip would hide in a mean
        raise UseError("water less chocolate", got=f"{water_c:.1f} less {chocolate_c:.1f} °C",
                       wanted=f"0 to {APART_MOST_K:g} K", hint=EXCHANGED)
    return water_c, chocolate_c


def _held_water(link: Link) -> float:
    """The water's mean over half a minute of a hold."""
    link.discard()
    seen = []
    for status in reading.rows(link):
        if status.state != "hold" or status.water is None:
            raise RefusedError(f"the warmer is in state {status.state}, not in a steady hold",
                               hint="start bain hold, wait until water and chocolate stand still, measure then")
        seen.append(status.water / 1000)
        if len(seen) == reading.STEADY_S:
            if max(seen) - min(seen) > reading.DRIFT_K_PER_MIN:
                raise UseError("the water does not stand still", got=f"{max(seen) - min(seen):.1f} K in half a minute",
                               hint="wait until the hold is steady")
            return statistics.fmean(seen)
    raise AssertionError("rows never end by themselves")


# -- telling -----------------------------------------------------------------------------------------------------------


def _tell(warmer: Warmer, profile: Profile, as_json: bool, say: Say, seed: int) -> int:
    width_k = profile.high_c - profile.low_c
    now = datetime.now(UTC)
    settings = {**warmer.settings, **calibration_record.changes(warmer.record, warmer.settings)}
    notes = calibration_record.notes(warmer.record, settings, width_k, now + timedelta(seconds=1))
    missed = _missed(warmer, seed) if warmer.virtual else []
    result = {
        "virtual": warmer.simulated, "warmer": warmer.record.warmer,
        "file": None if warmer.virtual else str(warmer.path),
        "window_k": width_k, "at_c": AT_C, **msgspec.to_builtins(warmer.record),
        "settings": calibration_record.changes(warmer.record, warmer.settings), "notes": notes + missed,
    }
    if warmer.virtual:
        result["built_in_error_k"] = _errors(warmer, seed)
    for note in notes + missed:
        say(f"bain: {note}", err=True)
    if as_json:
        say(json.dumps(result, indent=2, ensure_ascii=False))
    else:
        for line in calibration_record.told(warmer.record) or ["nothing is calibrated yet"]:
            say(("VIRTUAL: " if warmer.simulated else "") + line)
        if not warmer.virtual and calibration_record.changes(warmer.record, warmer.settings):
            say(f"Kept in {warmer.path}" + (f", {warmer.rig.source}" if warmer.rig else "") + ".")
    return 1 if missed else 0


def _errors(warmer: Warmer, seed: int) -> dict[str, float]:
    """What a virtual warmer's probes were built wrong by."""
    assert warmer.rig is not None
    table = warmer.rig.plant
    built = {"water": table.water_probe_bias_c, "bowl": table.bowl_probe_bias_c}
    return {place: Element(place, seed, 0.0, 0.0, built[place], AT_C).bias_c
            for place in reading.places_of(warmer.settings)}


def _missed(warmer: Warmer, seed: int) -> list[str]:
    said = []
    for place, error_k in _errors(warmer, seed).items():
        probe = warmer.record.probes[calibration_record.identity(warmer.settings, place)]
        found_k = probe.offset_c + (probe.gain - 1.0) * AT_C
        if abs(found_k + error_k) > probe.doubt_k:
            said.append(f"the virtual {reading.NAMES[place]} was built {error_k:+.3f} K wrong; {-found_k:+.3f} K was "
                        f"found, ± {probe.doubt_k:.2f} K")
    return said


