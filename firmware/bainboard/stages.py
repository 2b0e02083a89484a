"""The table of the stages of an evening: each a row with its figures, what it asks in turn, and what follows it."""

# The water probe's limits of error over a hold's range, 0.5 K for the digital one (its data sheet, from memory): water
# the control keeps just under the ceiling may read this much over it, and heat is not to be cut for that.
PROBE_ERROR_K = 0.5

OVER_MELT_K = 6.0  # the bath over the melt it makes: quick, and little water to swap afterwards (chosen, as the plan's)
UNDER_NEVER_K = 1.0  # and as far under what the chocolate must never meet (chosen: a probe's error, and an overshoot)
KEEP_K = 5.0  # the same for melted stock, which has all night (chosen)
MELT_SHORT_K = 0.5  # the melt is asked about this far short of its temperature: the last half degree takes long

NAME, WINDOW, CEILING, LIMIT, STEPS, NEXT = range(6)

# A figure is a profile's by name and what is added to it; of several the least counts. LIMIT is the water's, for the
# supervisor. Melted stock has no temper to lose: its limit is what chocolate must never see, to the degree, while the
# control still keeps under the ceiling.
_WINDOW = (("low_c", 0.0), ("target_c", 0.0), ("high_c", 0.0))
_MELT = (("melt_c", -MELT_SHORT_K), ("melt_c", 0.0), ("melt_c", 2.0))
_KEEP = (("keep_c", -1.0), ("keep_c", 0.0), ("keep_c", 1.0))
_WALL = (("ceiling_c", 0.0),)
_OVER_MELT = (("melt_c", OVER_MELT_K), ("never_above_c", -UNDER_NEVER_K))
_OVER_KEEP = (("keep_c", KEEP_K), ("never_above_c", -UNDER_NEVER_K))
_NEVER = (("never_above_c", 0.0),)
_TEMPER = (_WINDOW, _WALL, (("ceiling_c", PROBE_ERROR_K),))

# A step of a stage: what it asks (a key; the words are the host's), what ends it by itself, what yes and no do, each a
# method of the programme. Yes with nothing to do still says that somebody is here.
ASK, UNTIL, YES, NO = range(4)
_LIFT = ("bowl_off", "is_away", "lift", None)
SWAP = ("swap", "bath_ready", None, None)
_BACK = ("bowl_on", "is_back", "set_back", None)
_WAIT = (("", None, None, None),)

STAGES: tuple = (
    ("melt", _MELT, _OVER_MELT, _NEVER, (
        ("", "is_melted", None, None),
        ("all_melted", None, "advance", "stay"),
    ), "seed"),
    ("seed",) + _TEMPER + ((_LIFT, SWAP, ("seed_in", None, "advance", "stay"), SWAP, _BACK), "settle"),
    ("settle",) + _TEMPER + ((
        ("settling", "is_settled", None, None),
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
# Stock that was melted from the start brings its window with it.
STOCK: tuple = ("melted", _WINDOW, _WALL, _NEVER, _WAIT, None)

RUNNABLE = tuple([row[NAME] for row in STAGES])
COLD = ("rest",)  # no heat, guard open
BATH_ONLY = ("seed", "change")  # the bowl is on the table: the bath alone is brought to where the bowl will want it
TEMPERED = ("settle", "test", "work")  # one window: its target, edges and nudges go on from one to the next
EDGED = TEMPERED + ("melted", "tune")  # where leaving the window is worth a word
UNHURRIED = ("setting", "stirring")  # shown, and nothing that calls for a person
AT_ONCE = ("is_away", "is_back", "bath_ready", "is_still")  # ends of steps that may be there before anybody was asked

BELOW, INSIDE, ABOVE = "below", "inside", "above"
GOOD, SLOW, FAILED, LATE = "good", "slow", "failed", "late"  # verdicts of a temper test


def verdict(profile: dict, took_ms: float) -> str:
    """Of a piece that was seen to be set after this long; seen too late it says nothing, for nobody saw it set."""
    if took_ms <= profile["set_min"] * 60000:
        return GOOD
    return SLOW if took_ms <= profile["fail_min"] * 60000 else LATE
