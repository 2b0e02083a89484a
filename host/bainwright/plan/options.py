"""What was typed after `bain plan`, checked together and filled in: a batch that can be planned."""

from __future__ import annotations

from dataclasses import dataclass

from bainwright.core import units
from bainwright.core.errors import UseError
from bainwright.core.masses import Shown, parse_clock_min, parse_mass_kg, parse_share, parse_temp_c
from bainwright.files.chocolate import Profile, load_profile
from bainwright.files.rig import DEFAULT_RIG, load_rig
from bainwright.physics.kitchen import pressure_pa
from bainwright.plan.parts import BatchRequest, Refill
from bainwright.plan.seed_history import past_factor

DEFAULT_MELT_C = {"dark": 48.0}  # within 45-50 °C, common practice, no source
DEFAULT_MELT_OTHERS_C = 43.0  # within 40-45 °C, common practice, no source
DEFAULT_ROOM_C, DEFAULT_HUMIDITY = 20.0, 0.5
DEFAULT_COLD_C = 15.0  # tap water, chosen
DEFAULT_WORK_S, DEFAULT_KEEP_S = 3 * 3600.0, 9 * 3600.0  # an evening's dipping, a night; chosen
DEFAULT_COATING, COATING_LOW, COATING_HIGH = 0.33, 0.25, 0.40  # of the finished piece; common practice, no source
DEFAULT_WASTE = 0.12  # of what is used, 10-15 %; common practice, no source
LEAST_KG, MOST_KG = 0.05, 100.0  # the smallest bowl a rig may have; more is no batch for one pair of hands


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
    room: str | None = None
    humidity: str | None = None
    altitude: float | None = None
    centre_temp: str | None = None
    melt: str | None = None
    to: str | None = None
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
    """Check all options and fill in what they leave out.

    Parameters
    ----------
    options : PlanOptions
        The options as typed.
    shown : Shown
        The scales for the words of what is assumed.

    Returns
    -------
    BatchRequest
        Ready to be planned; `assumed` says what was taken for granted.

    Raises
    ------
    UseError, FileError
        For an option, a combination or a file that cannot be.
    """
    profile = load_profile(options.profile)
    rig = load_rig(options.rig or DEFAULT_RIG)
    rig = rig.with_vessel(options.vessel) if options.vessel else rig
    assumed: list[str] = []
    if not options.rig:
        assumed.append(f"the warmer is the bundled {rig.name!r} (--rig says otherwise)")
    total_kg = _total_kg(options, shown, assumed)
    room_c = _temp(options.room, "--room", units.ROOM_LOW_C, units.ROOM_HIGH_C)
    if room_c is None:
        room_c = DEFAULT_ROOM_C
        assumed.append(f"the room, its water and the seed are at {shown.temp(room_c)} (--room)")
    humidity = parse_share(options.humidity, "--humidity", 0.05, 0.99) if options.humidity else DEFAULT_HUMIDITY
    if not options.humidity:
        assumed.append("relative humidity 50 % (--humidity)")
    altitude_m = options.altitude or 0.0
    pressure_pa(altitude_m)  # refuses an altitude where nobody cooks
    melt_c = _melt_c(options, profile)
    starts_min, dip_at_min = _clock(options)
    return BatchRequest(
        profile=profile,
        rig=rig,
        total_kg=total_kg,
        room_c=room_c,
        humidity=humidity,
        melt_c=melt_c,
        end_c=_end_c(options, profile),
        seed_c=_or(_temp(options.seed_temp, "--seed-temp", 0.0, 60.0), room_c),
        water_c=_or(_temp(options.water_temp, "--water-temp", 0.0, 95.0), room_c),
        cold_c=_or(_temp(options.cold_water, "--cold-water", 0.0, 40.0), DEFAULT_COLD_C),
        work_s=_work_s(options, profile, assumed),
        seed_factor=_seed_factor(options.seed_factor, profile.kind, assumed),
        altitude_m=altitude_m,
        centre_c=_temp(options.centre_temp, "--centre-temp", -5.0, 30.0),
        refill=_refill(options, profile, min(total_kg, float(rig.settings["chocolate_kg"]))),
        starts_min=starts_min,
        dip_at_min=dip_at_min,
        assumed=tuple(assumed),
    )


def _temp(text: str | None, option: str, low_c: float, high_c: float) -> float | None:
    return None if text is None else parse_temp_c(text, option, low_c, high_c)


def _or(value: float | None, default: float) -> float:
    return default if value is None else value


def _total_kg(options: PlanOptions, shown: Shown, assumed: list[str]) -> float:
    """The mass asked for, or what the pieces take."""
    if options.total is not None and options.pieces is not None:
        raise UseError("--total and --pieces both say how much", hint="give one of them")
    if options.total is None and options.pieces is None:
        raise UseError(
            "how much chocolate?",
            wanted="--total MASS, or --pieces N with --coating",
            hint="for instance --total 2.2kg, or --pieces 120 --coating 5g",
        )
    if options.total is not None:
        stray = [f"--{name}" for name in ("coating", "centre", "waste", "left") if getattr(options, name) is not None]
        if stray:
            raise UseError(
                f"{', '.join(stray)} belongs to --pieces", hint="leave it out, or give --pieces in place of --total"
            )
        return parse_mass_kg(options.total, "--total", LEAST_KG, MOST_KG)
    waste = parse_share(options.waste, "--waste", 0.0, 0.5) if options.waste else DEFAULT_WASTE
    left_kg = parse_mass_kg(options.left, "--left", 0.0, MOST_KG) if options.left else 0.0
    coating_kg = _coating_kg(options, assumed)
    total_kg = (options.pieces or 0) * coating_kg / (1.0 - waste) + left_kg
    assumed.append(
        f"{options.pieces} pieces with {shown.mass(coating_kg)} of coating each and {100 * waste:.0f} % wasted"
        + ("" if options.left else "; what stays in the bowl at the end is not counted (--left adds it)")
    )
    if not LEAST_KG <= total_kg <= MOST_KG:
        raise UseError(
            "--pieces",
            got=f"{options.pieces} pieces, {total_kg:.3f} kg in all",
            wanted=f"{LEAST_KG:g} to {MOST_KG:g} kg",
            hint="check the number of pieces and the coating's unit",
        )
    return total_kg


def _coating_kg(options: PlanOptions, assumed: list[str]) -> float:
    """Coating on one piece: a mass, or a share of the finished piece round a centre of known mass."""
    text = options.coating or f"{100 * DEFAULT_COATING:.0f}%"
    if not text.strip().endswith("%"):
        return parse_mass_kg(text, "--coating", 0.0001, 1.0)
    if not options.centre:
        raise UseError(
            "--coating as a percentage needs the centre's mass",
            wanted="--centre MASS, or --coating MASS",
            hint="for instance --coating 33% --centre 9g, or --coating 4g",
        )
    share = parse_share(text, "--coating", 0.05, 0.80)
    if not COATING_LOW <= share <= COATING_HIGH:
        usual = f"{100 * COATING_LOW:.0f} to {100 * COATING_HIGH:.0f} %"
        assumed.append(f"a coating of {100 * share:.0f} % of the piece, where {usual} is usual")
    return parse_mass_kg(options.centre, "--centre", 0.0005, 1.0) * share / (1.0 - share)


def _melt_c(options: PlanOptions, profile: Profile) -> float:
    """The melt: asked for, the file's, or the kind's; over the window and under what the chocolate bears."""
    if profile.kind == "melted":
        if options.melt or options.to or options.seed_temp:
            raise UseError(
                "melted stock is kept out of temper, so it is not seeded",
                hint="leave --melt, --to and --seed-temp out, or name dark, milk or white",
            )
        return profile.target_c
    own_c = profile.melt_c or min(DEFAULT_MELT_C.get(profile.kind, DEFAULT_MELT_OTHERS_C), profile.never_above_c)
    melt_c = _temp(options.melt, "--melt", 30.0, 70.0)
    if melt_c is None:
        return own_c
    if melt_c > profile.never_above_c:
        raise UseError(
            "--melt",
            got=f"{melt_c:.1f} °C",
            hint=f"{own_c:g} °C is usual",
            wanted=f"at most {profile.never_above_c:g} °C, which {profile.name} may never meet",
        )
    if melt_c <= profile.high_c:
        raise UseError(
            "--melt",
            got=f"{melt_c:.1f} °C",
            wanted=f"above the window's {profile.high_c:g} °C",
            hint=f"all old crystal has to go: {own_c:g} °C is usual",
        )
    return melt_c


def _end_c(options: PlanOptions, profile: Profile) -> float:
    """Where the seeding ends: the top of the window, because seeding goes there straight from the melt."""
    end_c = _temp(options.to, "--to", 20.0, 45.0)
    if end_c is None:
        return profile.high_c
    if profile.low_c <= end_c <= profile.ceiling_c:
        return end_c
    why = "over which the seed melts out" if end_c > profile.ceiling_c else "or the bowl is too thick to work"
    raise UseError(
        "--to",
        got=f"{end_c:.1f} °C",
        wanted=f"{profile.low_c:g} to {profile.ceiling_c:g} °C, {why}",
        hint=f"the top of the window is {profile.high_c:g} °C",
    )


def _seed_factor(factor: float | None, kind: str, assumed: list[str]) -> float:
    """Asked for, or what past evenings showed, or 1."""
    if factor is None:
        past = past_factor(kind)
        if past is None:
            return 1.0
        factor, evenings = past
        often = "the last evening" if evenings == 1 else f"the last {evenings} evenings"
        assumed.append(f"{factor:.2f} times the seed, from {often} (bain stock told; --seed-factor 1 leaves it out)")
    factor = float(factor)
    if not 0.5 <= factor <= 2.0:  # NaN fails too
        raise UseError(
            "--seed-factor",
            got=f"{factor:g}",
            wanted="0.5 to 2",
            hint="it is the seed you used over the seed planned, on evenings gone by",
        )
    return factor


def _work_s(options: PlanOptions, profile: Profile, assumed: list[str]) -> float:
    if options.for_:
        return units.parse_duration_s(options.for_)
    work_s = DEFAULT_KEEP_S if profile.kind == "melted" else DEFAULT_WORK_S
    doing = "keeping it" if profile.kind == "melted" else "dipping"
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
        raise UseError("melted stock has no window a refill could spoil", hint="leave --refill out")
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
