"""The options of a hold: checked against each other, completed with defaults, and turned into a hold that can run."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import msgspec

from bainboard import stages
from bainwright.core import units
from bainwright.core.errors import UseError
from bainwright.core.masses import parse_clock_min
from bainwright.core.toml import close_match
from bainwright.files.chocolate import BY_COOLING, BY_SEED, CAPS, Profile, bundled_profiles, load_profile
from bainwright.files.rig import DEFAULT_RIG, PlantTable, Rig, load_rig
from bainwright.physics.chocolate_heat import HEAT_PROPERTIES
from bainwright.tuning.gains import GainsFile, mismatches, read_gains
from bainwright.virtual import board_models
from bainwright.virtual.opening import refuse_two_warmers
from bainwright.virtual.probe_ids import name_probes
from bainwright.virtual.scenario import Scenario, StartTable, kind_of, load_scenario
from bainwright.virtual.session import Simulated

Ask = Callable[[str, str, Callable[[str], str]], str]  # question, default answer, parser
DEMOS = {"work": "orange_sticks", "melt": "whole_evening"}  # by the step they begin with
COLD_FILL = 0.65  # of the bowl, chosen: a quarter more as seed fits, and a refill
BATH_OVER_K = 1.2  # chosen: a bath that holds a bowl is so much warmer
DEFAULT_S = 4 * 3600.0  # an evening, where no option or scenario gives a duration
STAGES = tuple(str(name) for name in stages.RUNNABLE if name not in ("tune", "change"))


@dataclass(frozen=True)
class HoldRequest:
    """The options of a hold as typed; None means not given."""

    profile: str | None
    virtual: str | None = None
    port: str | None = None
    rig: str | None = None
    vessel: str | None = None
    plant: str | None = None
    from_stage: str | None = None
    for_: str | None = None
    room: str | None = None
    speed: str | None = None
    scenario: str | None = None
    seed: int | None = None
    gains: str | None = None
    out: str | None = None
    image: str | None = None
    board: str | None = None
    join: bool = False
    until: str | None = None
    undrilled: bool = False
    of: str | None = None
    method: str | None = None


@dataclass(frozen=True)
class HoldSetup:
    """A hold that can run. `rig` None: a live board's own settings; `for_s` None: until stopped."""

    profile: Profile
    stage: str
    for_s: float | None
    room_c: float | None
    rig: Rig | None
    gains: dict[str, Any]
    folder: Path | None
    simulated: Simulated | None
    port: str | None
    join: bool = False
    assumed: list[str] = field(default_factory=list)
    undrilled: bool = False  # allow an overnight hold although trips and cut-outs are not tested


def resolve(request: HoldRequest) -> HoldSetup:
    """Check all options against each other, then read every file they name.

    Raises
    ------
    UseError, FileError
        If an option, a combination or a file is wrong; nothing was changed.
    """
    request = _profile_after_virtual(request)
    virtual = request.virtual is not None or request.plant is not None
    _refuse_combinations(request, virtual)
    profile = _of_kind(load_profile(request.profile or ""), request.of)
    profile = _tempered_by(profile, request.method, request.from_stage)
    stage = choose_stage(request.from_stage, profile)
    for_s = _for_s(request, virtual)
    room_c = units.parse_room_c(request.room) if request.room else None
    gains = read_gains(Path(request.gains)) if request.gains else GainsFile({})
    rig = _rig(request, virtual)
    setup = HoldSetup(
        profile,
        stage,
        for_s,
        room_c,
        rig,
        gains.values,
        Path(request.out) if request.out else None,
        None,
        request.port,
        request.join,
        mismatches(gains.notes, rig.settings) if rig else [],
        request.undrilled,
    )
    return _simulate(setup, request) if virtual else setup


def _profile_after_virtual(request: HoldRequest) -> HoldRequest:
    """In `hold --virtual dark` the option takes the chocolate for a rig: give it back."""
    if request.profile is not None:
        return request
    if request.virtual is not None and request.virtual in bundled_profiles():
        return replace(request, profile=request.virtual, virtual=DEFAULT_RIG)
    raise UseError(
        "which chocolate?",
        wanted=f"{', '.join(bundled_profiles())} or a TOML file",
        hint="for instance: bain hold dark --virtual",
    )


def _refuse_combinations(request: HoldRequest, virtual: bool) -> None:
    refuse_two_warmers(virtual=request.virtual, plant=request.plant, port=request.port, rig=request.rig)
    if virtual and request.join:
        raise UseError("--join watches a hold on a real board", hint="leave --virtual out")
    if not virtual:
        for option in ("scenario", "speed", "seed", "image", "board"):
            if getattr(request, option) is not None:
                raise UseError(
                    f"--{option} is for a virtual board; a real one has real time and real events", hint="add --virtual"
                )
        if request.vessel and not request.rig:
            raise UseError("--vessel names a vessel of a rig file", hint="add --rig FILE")


def _for_s(request: HoldRequest, virtual: bool) -> float | None:
    """How long: the duration given, or until the time of day given."""
    if request.until is None:
        return units.parse_duration_s(request.for_) if request.for_ else None
    if request.for_:
        raise UseError("--for and --until both say how long", hint="leave one of them out")
    if virtual:
        raise UseError("--until is a time of day, and a virtual board has none", hint="give --for instead")
    return seconds_until(parse_clock_min(request.until, "--until"), datetime.now())


def seconds_until(clock_min: int, now: datetime) -> float:
    """Seconds until the clock on the wall next shows `clock_min` minutes after midnight; a whole day if that is now.

    `now` is local time without a zone. The night in which the clocks change has an hour more or less.
    """
    at = now.replace(hour=clock_min // 60, minute=clock_min % 60, second=0, microsecond=0)
    moments = [at.replace(fold=0), at.replace(fold=1), at.replace(fold=0) + timedelta(days=1)]
    return min(after_s for moment in moments if (after_s := moment.timestamp() - now.timestamp()) > 0.0)


def stock_kind(text: str, option: str = "--of") -> str:
    """The kind of chocolate that melted stock is, from what a person typed.

    Raises
    ------
    UseError
        If there is no such kind.
    """
    kinds = [kind for kind in CAPS if kind != "melted"]
    kind = text.strip().lower().replace(" ", "_")
    if kind not in kinds:
        raise UseError(option, got=repr(text), wanted="one of " + ", ".join(kinds),
                       hint=close_match(kind, kinds) or "take milk if you do not know: it tolerates the least heat")
    return kind


def _of_kind(profile: Profile, of: str | None) -> Profile:
    if of is None:
        return profile
    if profile.kind != "melted":
        raise UseError("--of is for melted stock", hint="leave it out, or name melted")
    return replace(profile, of=stock_kind(of))


# At its temperature and in its mass: common practice, no source, as the plan says it.
BUTTER = (f"for cocoa butter seed take --method {BY_SEED}: at 34 °C stir in as much as bain plan --method butter says, "
          "then answer yes")


def _tempered_by(profile: Profile, method: str | None, stage: str | None) -> Profile:
    if method is None:
        return profile.tempered_by(BY_COOLING) if stage == "cool" else profile
    if method not in (BY_SEED, BY_COOLING):
        raise UseError("--method", got=repr(method), wanted=f"{BY_SEED} or {BY_COOLING}",
                       hint=close_match(method, (BY_SEED, BY_COOLING)) or BUTTER)
    if stage in (BY_SEED, BY_COOLING) and stage != method:
        raise UseError(f"--from {stage} and --method {method} are two ways to a temper", hint="leave one of them out")
    if profile.kind == "melted":
        raise UseError("melted stock is not tempered", hint="leave --method out, or name dark, milk or white")
    return profile.tempered_by(method)


def ask_about_stock(request: HoldRequest, ask: Ask | None) -> HoldRequest:
    """Ask what an overnight hold needs to know: the kind of stock, and when the person gets up.

    Parameters
    ----------
    request : HoldRequest
        The options as typed; what they answer already is not asked.
    ask : callable or None
        Asks the person until the answer is valid; None where nobody is at a terminal.
    """
    simulated = request.virtual is not None or request.plant is not None
    if ask is None or simulated or request.join or request.profile != "melted":
        return request
    of, until = request.of, request.until
    if of is None:
        of = ask("Of which kind is the stock? (milk if you do not know)", "milk",
                 lambda text: stock_kind(text, "the stock's kind"))
    if until is None and request.for_ is None:
        until = ask("When do you get up, HH:MM? (Enter: hold until you stop it)", "", _wake_time) or None
    return replace(request, of=of, until=until)


def _wake_time(text: str) -> str:
    if text.strip():
        parse_clock_min(text, "the time you get up")
    return text.strip()


def choose_stage(asked: str | None, profile: Profile) -> str:
    """The step to start with: the one given, or the chocolate's own.

    Raises
    ------
    UseError
        If there is no such step, or it does not fit the chocolate.
    """
    own = "melted" if profile.kind == "melted" else "work"
    if asked is None or asked == own:
        return own
    if asked not in STAGES:
        raise UseError("--from", got=repr(asked), wanted="one of " + ", ".join(STAGES), hint=close_match(asked, STAGES))
    if own == "melted":
        raise UseError(
            f"--from {asked}",
            got=f"{profile.name}, which is held at the step {own}",
            wanted=f"--from {own}",
            hint="or name the kind of chocolate: only that says how it is tempered",
        )
    return asked


def _rig(request: HoldRequest, virtual: bool) -> Rig | None:
    name = request.rig or (request.virtual or DEFAULT_RIG if virtual else None)
    if name is None:
        return None
    rig = load_rig(name)
    return rig.with_vessel(request.vessel) if request.vessel else rig


def _filled_with(rig: Rig, profile: Profile) -> Rig:
    """Fill the simulated warmer with the kind of chocolate that is held, unless the rig file names another."""
    kind = profile.of if profile.kind == "melted" else profile.kind
    usual, stuff = PlantTable(), HEAT_PROPERTIES.get(kind or "", HEAT_PROPERTIES["dark"])
    if (rig.plant.latent_j_per_kg, rig.plant.milk_fat_k) != (usual.latent_j_per_kg, usual.milk_fat_k):
        return rig
    plant = msgspec.structs.replace(rig.plant, latent_j_per_kg=stuff.latent.value, milk_fat_k=stuff.milk_fat_k)
    return replace(rig, plant=plant)


def _simulate(setup: HoldSetup, request: HoldRequest) -> HoldSetup:
    """Add the simulated warmer, and note the defaults used for it."""
    assert setup.rig is not None
    assumed = [*setup.assumed]
    scenario = _scenario(setup, request, assumed)
    for_s = setup.for_s
    if for_s is None:
        for_s = (scenario.duration_s if scenario else None) or DEFAULT_S
        assumed.append(f"holding for {units.duration_words(for_s)} (--for changes that)")
    board_models.check_rig(setup.rig, request.board)
    model = board_models.model_of(request.board)
    if request.board:
        assumed.append(model.line())
    rig = name_probes(_filled_with(setup.rig, setup.profile), model.kind)
    simulated = Simulated(
        rig,
        request.plant,
        _with_room(scenario, setup.room_c, request.plant, assumed),
        request.seed or 0,
        units.parse_speed(request.speed) if request.speed else None,
        Path(request.image) if request.image else None,
        request.board,
    )
    return replace(setup, rig=rig, for_s=for_s, simulated=simulated, assumed=assumed)


def _scenario(setup: HoldSetup, request: HoldRequest, assumed: list[str]) -> Scenario | None:
    """The evening to play: the one given, the demonstration where it fits, else none."""
    assert setup.rig is not None
    if request.scenario:
        scenario = load_scenario(request.scenario)
        if request.plant and scenario.physical:
            event = scenario.physical[0]
            raise UseError(
                f"the event {kind_of(event)!r} at {event.at_s:g} s acts on the built-in warmer, not on a --plant",
                hint="leave --plant out, or let the plant apply its own disturbances",
            )
        if scenario.rig not in ("", setup.rig.source):
            assumed.append(f"{scenario.source} was written for the rig {scenario.rig}, this is {setup.rig.source}")
        return scenario
    demo_fits = (
        setup.rig.source == DEFAULT_RIG and setup.profile.kind == "dark" and not request.plant and not request.vessel
    )
    if demo_fits and setup.stage in DEMOS:
        demo = load_scenario(DEMOS[setup.stage])
        assumed.append(f"playing {demo.title!r} (--scenario plays another evening)")
        return demo
    answers = "" if setup.stage in ("work", "melted") else ", so you answer the warmer with the keys"
    assumed.append(f"an evening without events{answers} (--scenario plays one)")
    return None if request.plant else _begun(setup)


def _begun(setup: HoldSetup) -> Scenario | None:
    """What the step before leaves: a melt and its bath for the seed, else a bowl in its window; None for the work."""
    profile = setup.profile
    if setup.stage == "melt":
        return _cold(setup)
    if setup.stage in stages.BATH_ONLY:
        water_c = min(profile.melt_c + stages.OVER_MELT_K, profile.never_above_c - stages.UNDER_NEVER_K)
        start = StartTable(water_c=water_c, bowl_c=profile.melt_c, chocolate_kg=_with_room_for_seed_kg(setup))
        return Scenario(start=start)
    if setup.stage in ("settle", "test", "rest"):
        return Scenario(start=StartTable(water_c=profile.high_c + BATH_OVER_K, bowl_c=profile.high_c))
    return None


def _cold(setup: HoldSetup) -> Scenario:
    """Everything at the room's temperature, and pieces in the bowl, with room in it for seed and a refill."""
    assert setup.rig is not None
    room_c = float(setup.rig.settings["room_c"] if setup.room_c is None else setup.room_c)
    pieces_kg = _with_room_for_seed_kg(setup)
    return Scenario(start=StartTable(water_c=room_c, bowl_c=room_c, chocolate_kg=pieces_kg, solid_kg=pieces_kg))


def _with_room_for_seed_kg(setup: HoldSetup) -> float:
    assert setup.rig is not None
    return COLD_FILL * float(setup.rig.settings["chocolate_kg"])


def _with_room(
    scenario: Scenario | None, room_c: float | None, plant: str | None, assumed: list[str]
) -> Scenario | None:
    """Set the built-in warmer's room to --room, unless its scenario sets one: a kitchen that is not as it was told."""
    if room_c is None or plant is not None:
        return scenario
    scenario = scenario or Scenario()
    start = scenario.start or StartTable()
    if start.room_c is not None:
        if start.room_c != room_c:
            assumed.append(f"the scenario's room is at {start.room_c:g} °C, and the warmer is told {room_c:g} °C")
        return scenario
    return msgspec.structs.replace(scenario, start=msgspec.structs.replace(start, room_c=room_c))
