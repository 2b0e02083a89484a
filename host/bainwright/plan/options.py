"""What was typed after `bain plan`, checked and completed with defaults: a request that can be planned."""

from __future__ import annotations

from dataclasses import dataclass, replace

import msgspec

from bainwright.core import units
from bainwright.core.errors import UseError
from bainwright.core.masses import Shown, parse_clock_min, parse_mass_kg, parse_share, parse_temp_c
from bainwright.core.toml import close_match
from bainwright.files.chocolate import Profile, load_profile
from bainwright.files.rig import DEFAULT_RIG, Rig, load_rig
from bainwright.physics.chocolate_heat import FORM_VI_C
from bainwright.physics.geometry import body_of
from bainwright.physics.kitchen import pressure_pa
from bainwright.physics.materials import MELTS_OUT
from bainwright.plan.batch_mass import MOST_KG, total_kg
from bainwright.plan.history import past_factor, past_melt_factor
from bainwright.plan.request import COOLING, METHODS, SEEDING, BatchRequest, Refill
from bainwright.plan.setup import Setup
from bainwright.plan.spread import GUESSED_POT, Spread
from bainwright.plan.warmer import learned_scales

DEFAULT_ROOM_C, DEFAULT_HUMIDITY = 20.0, 0.5
DEFAULT_COLD_C = 15.0  # tap water, chosen
CRUMB_SHARE = 0.01  # of a full bowl: less is no refill but what is left in the bag; chosen
DEFAULT_WORK_S, DEFAULT_KEEP_S = 3 * 3600.0, 9 * 3600.0  # an evening's dipping, a night; chosen
ROUNDED_K = 0.05  # so that a figure typed as it was shown is taken
POT_LOW_M, POT_HIGH_M = 0.08, 0.80  # chosen: a mug to a canner


@dataclass(frozen=True)
class PlanOptions:
    """The options of a plan as they were typed; None is not given."""

    profile: str
    total: str | None = None
    pieces: int | None = None
    coating: str | None = None
    centre: str | None = None
    waste: str | None = None
    left: str | None = None
    rig: str | None = None
    vessel: str | None = None
    pot_width: str | None = None
    cover: str | None = None
    gains: str | None = None
    method: str | None = None
    room: str | None = None
    humidity: str | None = None
    altitude: float | None = None
    centre_temp: str | None = None
    melt: str | None = None
    to: str | None = None
    seed: str | None = None
    seed_temp: str | None = None
    seed_factor: float | None = None
    water_temp: str | None = None
    cold_water: str | None = None
    refill: str | None = None
    refill_temp: str | None = None
    in_bowl: str | None = None
    for_: str | None = None
    at: str | None = None
    dip_at: str | None = None


def batch_request(options: PlanOptions, shown: Shown) -> BatchRequest:
    """Check all options and fill in defaults.

    Parameters
    ----------
    options : PlanOptions
        The options as typed.
    shown : Shown
        The scales for what is assumed.

    Returns
    -------
    BatchRequest
        Ready to be planned; `assumed` names every default that matters.

    Raises
    ------
    UseError, FileError
        For an impossible option, combination or file.
    """
    profile = load_profile(options.profile)
    assumed: list[str] = []  # those that decide the times first
    rig = _rig(options)
    spread = _spread(rig, assumed)
    room_c = _temp(options.room, "--room", units.ROOM_LOW_C, units.ROOM_HIGH_C)
    if room_c is None:
        room_c = DEFAULT_ROOM_C
        assumed.append(f"the room, its water and the seed are at {shown.temp(room_c)} (--room)")
    if not options.rig:
        assumed.append(f"the warmer is the bundled {rig.name!r} (--rig)")
    spread, scales = learned_scales(rig, options.gains, spread, assumed)
    full_kg = float(rig.settings["chocolate_kg"])
    mass_kg = _bowlfuls_kg(total_kg(options, shown, assumed), full_kg, shown, assumed)
    humidity = parse_share(options.humidity, "--humidity", 0.05, 0.99) if options.humidity else DEFAULT_HUMIDITY
    if not options.humidity:
        assumed.append("relative humidity is 50 % (--humidity)")
    altitude_m = options.altitude or 0.0
    pressure_pa(altitude_m)  # refuses an altitude without kitchens
    method = _method(options, profile)
    starts_min, dip_at_min = _clock(options)
    request = BatchRequest(
        profile=profile,
        rig=rig,
        total_kg=mass_kg,
        room_c=room_c,
        humidity=humidity,
        melt_c=_melt_c(options, profile),
        end_c=_end_c(options, profile),
        seed_c=_or(_temp(options.seed_temp, "--seed-temp", 0.0, 60.0), room_c),
        water_c=_or(_temp(options.water_temp, "--water-temp", 0.0, 95.0), room_c),
        cold_c=_or(_temp(options.cold_water, "--cold-water", 0.0, 40.0), DEFAULT_COLD_C),
        work_s=_work_s(options, profile, assumed),
        method=method,
        seed_given_kg=_seed_given_kg(options, method, min(mass_kg, full_kg)),
        seed_factor=_seed_factor(options.seed_factor, profile.kind, assumed) if method == SEEDING else 1.0,
        melt_factor=_melt_factor(rig, assumed),
        scales=scales,
        spread=spread,
        altitude_m=altitude_m,
        centre_c=_temp(options.centre_temp, "--centre-temp", -5.0, 30.0),
        refill=_refill(options, profile, min(mass_kg, full_kg)),
        starts_min=starts_min,
        dip_at_min=dip_at_min,
        assumed=tuple(assumed),
    )
    if options.water_temp is not None:
        _check_water(request, shown)
    return request


def _check_water(request: BatchRequest, shown: Shown) -> None:
    """Refuse a bath filled warmer than the melt's own: the bowl would stand in it, and the chocolate get too warm."""
    most_c = Setup(request).melt_water_c
    if request.water_c > most_c + ROUNDED_K:
        raise UseError(
            "--water-temp",
            got=shown.temp(request.water_c),
            wanted=f"at most {shown.temp(most_c)}, so that the chocolate gets no warmer than it may",
            hint="mix in cold water before the bowl goes in",
        )


def _bowlfuls_kg(mass_kg: float, full_kg: float, shown: Shown, assumed: list[str]) -> float:
    """The batch; a full bowl, and that is said, where the rest would make a refill that nobody can weigh out."""
    if not full_kg < mass_kg < (1.0 + CRUMB_SHARE) * full_kg:
        return mass_kg
    assumed.append(f"the bowl holds {shown.mass(full_kg)}, and the little more that was asked for is left out")
    return full_kg


def _temp(text: str | None, option: str, low_c: float, high_c: float) -> float | None:
    return None if text is None else parse_temp_c(text, option, low_c, high_c)


def _or(value: float | None, default: float) -> float:
    return default if value is None else value


# -- the warmer ------------------------------------------------------------------------------------------------------


def _rig(options: PlanOptions) -> Rig:
    """The warmer, with the pot and the cover that were typed."""
    rig = load_rig(options.rig or DEFAULT_RIG)
    rig = rig.with_vessel(options.vessel) if options.vessel else rig
    given, plant = set(rig.plant_given), rig.plant
    if options.pot_width is not None:
        width_m = _width_m(options.pot_width)
        if width_m < body_of(rig).bowl_diameter_m:
            raise UseError(
                "--pot-width",
                got=options.pot_width,
                wanted=f"at least the bowl's {100 * body_of(rig).bowl_diameter_m:.0f} cm",
                hint="measure the inside of the pot at the water",
            )
        plant = msgspec.structs.replace(plant, pot_diameter_m=width_m)
        given.add("pot_diameter_m")
    if options.cover is not None:
        plant = msgspec.structs.replace(plant, ring_cover=parse_share(options.cover, "--cover", 0.0, 1.0))
        given.add("ring_cover")
    return replace(rig, plant=plant, plant_given=frozenset(given))


def _width_m(text: str) -> float:
    """A width such as ``28cm`` or ``11in``; a bare number is centimetres."""
    plain = text.strip().lower().replace(",", ".")
    inches = plain.endswith(("in", '"'))
    bare = plain.removesuffix("in").removesuffix('"').removesuffix("cm").strip()
    try:
        width_m = float(bare) * (0.0254 if inches else 0.01)
    except ValueError:
        raise UseError("--pot-width", got=repr(text), wanted="a width, cm or in", hint="like 28cm or 11in") from None
    if not POT_LOW_M <= width_m <= POT_HIGH_M:  # NaN fails too
        raise UseError(
            "--pot-width",
            got=text,
            wanted=f"{100 * POT_LOW_M:g} to {100 * POT_HIGH_M:g} cm",
            hint="measure across the inside",
        )
    return width_m


def _spread(rig: Rig, assumed: list[str]) -> Spread:
    """How far this warmer may differ from its sizes: further where the pot or its cover is a guess."""
    body, guessed = body_of(rig), False
    if "pot_diameter_m" not in rig.plant_given:
        guessed = True
        assumed.append(
            f"the {'pot' if body.is_bath else 'plate'} is {100 * body.pot_diameter_m:.0f} cm wide (--pot-width)"
        )
    if body.is_bath and "ring_cover" not in rig.plant_given:
        guessed = True
        assumed.append(f"{100 * rig.plant.ring_cover:.0f} % of the pot's water is covered (--cover)")
    if "bath" not in rig.plant_given:
        assumed.append("the bowl sits in a bath of water (bath in the rig file's [plant] table)")
    return replace(Spread(), bath_loss=GUESSED_POT) if guessed else Spread()


def _melt_factor(rig: Rig, assumed: list[str]) -> float | None:
    """Time that melts on this warmer took, over the time planned; None when nobody recorded any."""
    past = past_melt_factor(rig.name)
    if past is None:
        return None
    factor, evenings = past
    often = "the last evening" if evenings == 1 else f"the last {evenings} evenings"
    assumed.append(
        f"melting takes {factor:.2f} times as long as this warmer's sizes suggest, as on {often} (bain stock)"
    )
    return factor


# -- the chocolate ---------------------------------------------------------------------------------------------------


def _method(options: PlanOptions, profile: Profile) -> str:
    """How it is tempered; options that belong to seed alone are refused for the other methods."""
    method = (options.method or (COOLING if profile.cool_c else SEEDING)).strip().lower()
    if method not in METHODS:
        raise UseError(
            "--method",
            got=repr(options.method),
            wanted="seed, butter or cool",
            hint=close_match(method, METHODS)
            or "seed: pieces of tempered chocolate; butter: cocoa butter seed; cool: cool down and warm back",
        )
    if options.method and profile.kind == "melted":
        raise UseError("melted stock is not tempered", hint="leave --method out, or name dark, milk or white")
    only_seed = (("--seed", options.seed), ("--to", options.to), ("--seed-factor", options.seed_factor))
    typed = [option for option, given in only_seed if given is not None]
    if method != SEEDING and typed:
        raise UseError(f"{', '.join(typed)} belongs to --method seed", hint="leave it out")
    return method


def _melt_c(options: PlanOptions, profile: Profile) -> float:
    """The melt: as typed, or the file's; above the window and within what the chocolate tolerates."""
    if profile.kind == "melted":
        if options.melt or options.to or options.seed_temp or options.seed:
            raise UseError(
                "melted stock is held out of temper, so it is not seeded",
                hint="leave --melt, --to, --seed and --seed-temp out, or name dark, milk or white",
            )
        return profile.target_c
    melt_c = _temp(options.melt, "--melt", 30.0, 70.0)
    if melt_c is None:
        return profile.melt_c
    if melt_c > profile.never_above_c:
        raise UseError(
            "--melt",
            got=f"{melt_c:.1f} °C",
            hint=f"{profile.melt_c:g} °C is usual",
            wanted=f"at most {profile.never_above_c:g} °C, the limit of {profile.name}",
        )
    if melt_c < FORM_VI_C:
        raise UseError(
            "--melt",
            got=f"{melt_c:.1f} °C",
            wanted=f"at least {FORM_VI_C:g} °C, where the last old crystals melt",
            hint=f"{profile.melt_c:g} °C is usual",
        )
    return melt_c


def _end_c(options: PlanOptions, profile: Profile) -> float:
    """Where the seeding ends: the top of the window, because seeding goes there straight from the melt."""
    end_c = _temp(options.to, "--to", 20.0, 45.0)
    if end_c is None:
        return profile.high_c
    most_c = min(profile.ceiling_c, round(MELTS_OUT.value - 0.1, 1))
    if profile.low_c <= end_c <= most_c:
        return end_c
    if end_c < profile.low_c:
        why = "because a colder bowl is too thick to work"
        hint = f"to cool further and warm back: --method cool; the top of the window is {profile.high_c:g} °C"
    else:
        why, hint = "because the seed melts out above", f"the top of the window is {profile.high_c:g} °C"
    raise UseError(
        "--to", got=f"{end_c:.1f} °C", wanted=f"{profile.low_c:g} to {most_c:g} °C, {why}", hint=hint
    )


def _seed_given_kg(options: PlanOptions, method: str, batch_kg: float) -> float | None:
    """The seed that was put aside: a mass, or a share of the batch."""
    if options.seed is None:
        return None
    if options.seed.strip().endswith("%"):
        return parse_share(options.seed, "--seed", 0.005, 0.9) * batch_kg
    if not any(letter.isalpha() for letter in options.seed):
        raise UseError("--seed", got=repr(options.seed), wanted="a mass with its unit, or a percentage",
                       hint="like 400g or 20%")  # fmt: skip
    mass_kg = parse_mass_kg(options.seed, "--seed", 0.001, MOST_KG)
    if mass_kg >= 0.9 * batch_kg:
        raise UseError(
            "--seed",
            got=f"{mass_kg:.2f} kg of {batch_kg:.2f} kg in the bowl",
            wanted="under nine tenths",
            hint="--total counts melt and seed together",
        )
    return mass_kg


def _seed_factor(factor: float | None, kind: str, assumed: list[str]) -> float:
    """As typed, or what past evenings showed, or 1."""
    if factor is None:
        past = past_factor(kind)
        if past is None:
            return 1.0
        factor, evenings = past
        often = "the last evening" if evenings == 1 else f"the last {evenings} evenings"
        assumed.append(
            f"seed is {factor:.2f} times the balance's, as on {often} (bain stock; --seed-factor 1 ignores it)"
        )
    factor = float(factor)
    if not 0.5 <= factor <= 2.0:  # NaN fails too
        raise UseError(
            "--seed-factor",
            got=f"{factor:g}",
            wanted="0.5 to 2",
            hint="it is the seed you used over the seed planned, on past evenings",
        )
    return factor


# -- the evening -----------------------------------------------------------------------------------------------------


def _work_s(options: PlanOptions, profile: Profile, assumed: list[str]) -> float:
    if options.for_:
        return units.parse_duration_s(options.for_)
    work_s = DEFAULT_KEEP_S if profile.kind == "melted" else DEFAULT_WORK_S
    doing = "it is held" if profile.kind == "melted" else "you dip"
    assumed.append(f"{doing} for {units.duration_words(work_s)} (--for)")
    return work_s


def _refill(options: PlanOptions, profile: Profile, batch_kg: float) -> Refill | None:
    if options.refill is None:
        if options.refill_temp or options.in_bowl:
            raise UseError("--refill-temp and --in-bowl belong to --refill", hint="add --refill MASS")
        return None
    if options.refill_temp is None:
        raise UseError("how warm is the refill?", wanted="--refill-temp TEMP", hint="for instance --refill-temp 34")
    if profile.kind == "melted":
        raise UseError("melted stock has no window that a refill could spoil", hint="leave --refill out")
    mass_kg = parse_mass_kg(options.refill, "--refill", 0.001, MOST_KG)
    temp_c = parse_temp_c(options.refill_temp, "--refill-temp", 0.0, profile.never_above_c)
    if options.in_bowl:
        return Refill(mass_kg, temp_c, parse_mass_kg(options.in_bowl, "--in-bowl", 0.01, MOST_KG))
    if mass_kg >= batch_kg:
        raise UseError(
            "--refill is as much as the bowl holds",
            got=f"{mass_kg:.2f} kg",
            wanted=f"under {batch_kg:.2f} kg",
            hint="an empty bowl is a new batch, not a refill",
        )
    return Refill(mass_kg, temp_c, batch_kg - mass_kg)  # filled up to where it began


def _clock(options: PlanOptions) -> tuple[float | None, float | None]:
    if options.at and options.dip_at:
        raise UseError("--at is when the heat goes on and --dip-at when dipping begins", hint="give one of them")
    return (
        parse_clock_min(options.at, "--at") if options.at else None,
        parse_clock_min(options.dip_at, "--dip-at") if options.dip_at else None,
    )
