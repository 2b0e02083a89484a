"""The table of an evening's stages: one row each, with its temperatures, its steps, and the stage that follows."""

# The water probe's limits of error over a hold's range, 0.5 K for the digital one (its data sheet, from memory): water
# held just under the ceiling may read this much over it, and the heat must not be cut for that.
PROBE_ERROR_K = 0.5

OVER_MELT_K = 6.0  # the bath over the melt it makes: quick, and little water to swap afterwards (chosen, as the plan's)
UNDER_NEVER_K = 1.0  # and as far under what the chocolate must never meet (chosen: a probe's error, and an overshoot)
KEEP_K = 5.0  # the same for melted stock, which has all night (chosen)
MELT_SHORT_K = 0.5  # the melt is asked about this far short of its temperature: the last half degree takes long

NAME, WINDOW, CEILING, LIMIT, STEPS, NEXT = range(6)

# A temperature is a profile's value by name plus an offset; of several, the lowest counts. LIMIT is the supervisor's
# water limit. Melted stock has no temper to lose: its limit is the chocolate's own maximum, with no allowance, and the
# control still holds the water under the ceiling.
_WINDOW = (("low_c", 0.0), ("target_c", 0.0), ("high_c", 0.0))
_MELT = (("melt_c", -MELT_SHORT_K), ("melt_c", 0.0), ("melt_c", 2.0))
_KEEP = (("keep_c", -1.0), ("keep_c", 0.0), ("keep_c", 1.0))
_WALL = (("ceiling_c", 0.0),)
_OVER_MELT = (("melt_c", OVER_MELT_K), ("never_above_c", -UNDER_NEVER_K))
_OVER_KEEP = (("keep_c", KEEP_K), ("never_above_c", -UNDER_NEVER_K))
_NEVER = (("never_above_c", 0.0),)
_TEMPER = (_WINDOW, _WALL, (("ceiling_c", PROBE_ERROR_K),))

# A step of a stage: what it asks (a key; the host has the words), what ends it by itself, what yes and no do, each a
# method of the programme. A yes that does nothing still shows that somebody is here.
ASK, UNTIL, YES, NO = range(4)
_LIFT = ("bowl_off", "is_away", "lift", None)
SWAP = ("swap", "bath_ready", None, None)
_BACK = ("bowl_on", "is_back", "set_back", None)
_WAIT = (("", None, None, None),)

SEED, COOL = "seed", "cool"  # the two ways to a temper

STAGES: tuple = (
    ("melt", _MELT, _OVER_MELT, _NEVER, (
        ("", "is_melted", None, None),
        ("all_melted", None, "advance", "stay"),
    ), SEED),
    (SEED,) + _TEMPER + ((_LIFT, SWAP, ("seed_in", None, "advance", "stay"), SWAP, _BACK), "settle"),
    (COOL,) + _TEMPER + ((_LIFT, SWAP, ("cool_down", None, "advance", "stay"), SWAP, _BACK), "settle"),
    ("settle",) + _TEMPER + ((
        ("settling", "is_settled", "answered", None),
        ("stir", None, "advance", None),
        ("stirring", "is_stirred", None, None),
        ("move_probe", "is_still", "stir_again", None),
    ), "test"),
    ("test",) + _TEMPER + ((
        ("test", None, "advance", None),
        ("setting", None, "has_set", "not_set"),
        ("more_seed", None, "settle", None),
    ), "work"),
    ("work",) + _TEMPER + ((("working", None, "answered", None),), None),
    ("rest",) + _TEMPER + ((("spread", None, "advance", "keep"),), None),
    ("melted", _KEEP, _OVER_KEEP, _NEVER, _WAIT, None),
    ("tune",) + _TEMPER + (_WAIT, None),
    ("change",) + _TEMPER + ((_LIFT, SWAP, _BACK), "settle"),
)
BY_NAME = {row[NAME]: row for row in STAGES}
# Stock that was melted from the start comes with its own window.
STOCK: tuple = ("melted", _WINDOW, _WALL, _NEVER, _WAIT, None)

RUNNABLE = tuple([row[NAME] for row in STAGES])
COLD = ("rest",)  # no heat, guard open
BATH_ONLY = (SEED, COOL, "change")  # the bowl is on the table: only the bath is brought to temperature for it
TEMPERED = ("settle", "test", "work")  # one window: its target, edges and nudges carry over from one to the next
EDGED = TEMPERED + ("melted", "tune")  # where leaving the window is reported
UNHURRIED = ("setting", "stirring", "cool_down")  # shown, but nobody is called
AT_ONCE = ("is_away", "is_back", "bath_ready", "is_still")  # conditions that may already hold when a step begins

BELOW, INSIDE, ABOVE = "below", "inside", "above"
GOOD, SLOW, FAILED, LATE = "good", "slow", "failed", "late"  # verdicts of a temper test


def after(row: tuple, profile: dict) -> str | None:
    """The stage after this row's: from the melt, the way this chocolate is tempered."""
    return COOL if row[NEXT] == SEED and profile["cool_c"] else row[NEXT]


def verdict(profile: dict, took_ms: float) -> str:
    """The verdict on a piece seen set after this long; LATE means nobody saw it set, so it proves nothing."""
    if took_ms <= profile["set_min"] * 60000:
        return GOOD
    return SLOW if took_ms <= profile["fail_min"] * 60000 else LATE
