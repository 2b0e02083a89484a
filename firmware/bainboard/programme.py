"""Tonight's steps: each a row with its window, its limits, what ends it and what it asks. Pure.

A step never ends by itself into a warmer one: it asks, and unanswered it holds.
"""

# What ends a step.
CONFIRMED = "confirmed"  # the person answers its prompt
SETTLED = "settled"  # the bowl is inside its window
TIME = "time"  # the hold's own time is over, or a person stops it

# The water probe's limits of error over a hold's range, 0.5 K for the digital one (its data sheet, from memory): water
# the control keeps just under the ceiling may read this much over it, and heat is not to be cut for that.
PROBE_ERROR_K = 0.5

HYSTERESIS_K = 0.1  # out of the window by more than the reading's steps of 1/16 K (chosen)
NUDGE_K = 0.3  # "it thickens": the usual 0.3-0.5 K at a time (common practice, no source)
EDGE_K = 0.1  # and never closer to the window's ends than this
LEAD_MS = 5 * 60 * 1000  # a refill comes this long after it is announced, when nobody says
LATE_MS = 10 * 60 * 1000  # and is not coming when it is this late (chosen)

NAME, WINDOW, CEILING, LIMIT, ALLOWANCE_K, END, PROMPT, NEXT = range(8)

_WINDOW = ("low_c", "target_c", "high_c")
_WALL, _NEVER = "ceiling_c", "never_above_c"

# WINDOW, CEILING and LIMIT name the profile's figures; a step whose window no profile has cannot run. LIMIT is the
# water's, for the supervisor. Melted stock has no temper to lose: its limit is what chocolate must never see, to the
# degree, while the control still keeps under the ceiling.
STAGES = (
    ("melt", None, _NEVER, _NEVER, 0.0, CONFIRMED, "all_melted", "seed"),
    ("seed", None, _NEVER, _NEVER, 0.0, CONFIRMED, "seed_in", "settle"),
    ("settle", None, _WALL, _WALL, PROBE_ERROR_K, SETTLED, "", "test"),
    ("test", None, _WALL, _WALL, PROBE_ERROR_K, CONFIRMED, "test_passed", "work"),
    ("work", _WINDOW, _WALL, _WALL, PROBE_ERROR_K, TIME, "", None),
    ("rest", None, _WALL, _WALL, PROBE_ERROR_K, TIME, "", None),
    ("melted", _WINDOW, _WALL, _NEVER, 0.0, TIME, "", None),
)
_BY_NAME = {row[NAME]: row for row in STAGES}

RUNNABLE = tuple([row[NAME] for row in STAGES if row[WINDOW]])

BELOW, INSIDE, ABOVE = "below", "inside", "above"


class Programme:
    """One run from a step on. `step` it each pass; `take_events` gives what happened since."""

    def __init__(self, profile, stage, now_ms, for_ms):
        if stage not in RUNNABLE:
            raise ValueError("stage: got {}, wanted one of {}".format(stage, ", ".join(RUNNABLE)))
        self.done = False
        self.bowl_away = False
        self.place = None  # below, inside or above the window; None until the bowl was read
        self.warm_ms = None  # when the bowl first came into its window
        self.due_ms = None  # when the refill that was announced should come
        self._profile = profile
        self._start_ms, self._for_ms = now_ms, for_ms
        self._events = []
        self._enter(stage)

    def _enter(self, stage):
        row = _BY_NAME[stage]
        self.stage = stage
        self.prompt = row[PROMPT]
        self.low_c, self.target_c, self.high_c = [self._profile[name] for name in row[WINDOW]]
        self.ceiling_c = self._profile[row[CEILING]]
        self.limit_c = self._profile[row[LIMIT]] + row[ALLOWANCE_K]

    def take_events(self):
        """What happened since this was last asked, as names in order."""
        events, self._events = self._events, []
        return events

    def step(self, now_ms, water_c, bowl_c):
        """One pass; `bowl_c` read or estimated, None when neither."""
        if self.done:
            return
        if self.due_ms is not None and now_ms - self.due_ms > LATE_MS:
            self.due_ms = None
        if bowl_c is not None and not self.bowl_away:
            self._place(now_ms, bowl_c)
        if self._ended(now_ms):
            self._go_on()  # only into a step that asks for no more heat: the check of the table holds it to that

    def _place(self, now_ms, bowl_c):
        slack_k = HYSTERESIS_K if self.place == INSIDE else 0.0  # leaving takes more than entering
        if self.low_c - slack_k <= bowl_c <= self.high_c + slack_k:
            place = INSIDE
        else:
            place = BELOW if bowl_c < self.low_c else ABOVE
        if place == self.place:
            return
        first = place == INSIDE and self.warm_ms is None
        if first:
            self.warm_ms = now_ms
        if self.warm_ms is not None:  # before the first entry there is no edge to tell
            self._events.append("warm" if first else place)
        self.place = place

    def _ended(self, now_ms):
        end = _BY_NAME[self.stage][END]
        if end == TIME:
            return 0 < self._for_ms <= now_ms - self._start_ms
        return end == SETTLED and self.place == INSIDE

    def _go_on(self):
        following = _BY_NAME[self.stage][NEXT]
        if following is None:
            self.done = True
        else:
            self._enter(following)
            self._events.append("stage")

    # -- acts of a person ---------------------------------------------------------------------------------------------

    def act(self, name, now_ms, in_ms=LEAD_MS):
        """A person's act: (True, "") or (False, why)."""
        if name not in ACTS:
            return False, "{}: no such act, wanted one of {}".format(name, ", ".join(sorted(ACTS)))
        why = "the hold is over" if self.done else ACTS[name](self, now_ms, in_ms)
        if why:
            return False, f"{self.stage}: {name} refused: {why}"
        self._events.append(TOLD[name])
        return True, ""

    def _confirm(self, now_ms, in_ms):
        if _BY_NAME[self.stage][END] == CONFIRMED:
            self._go_on()
        # With nothing asked it still says that somebody is here.

    def _nudge(self, by_k):
        low_c, high_c = self.low_c + EDGE_K, self.high_c - EDGE_K
        target_c = max(low_c, min(high_c, self.target_c + by_k))
        if not abs(target_c - self.target_c) > 0.001:  # millikelvins are what the wire tells
            return f"the target is at {self.target_c:.1f} °C already, {EDGE_K:g} K inside the window's end"
        self.target_c = target_c
        return None

    def _thicker(self, now_ms, in_ms):
        if self.stage != "work":
            return "nothing thickens here; only work holds a temper"
        why = self._nudge(NUDGE_K)
        return why and why + "; stir in warm untempered melt, or melt and temper again"

    def _thinner(self, now_ms, in_ms):
        if self.stage != "work":
            return "only work holds a temper"
        return self._nudge(-NUDGE_K)

    def _bowl_off(self, now_ms, in_ms):
        if self.bowl_away:
            return "the bowl is off already"
        self.bowl_away = True
        return None

    def _bowl_on(self, now_ms, in_ms):
        if not self.bowl_away:
            return "the bowl was not off"
        self.bowl_away = False
        return None

    def _announce(self, now_ms, in_ms):
        self.due_ms = now_ms + in_ms


ACTS = {
    "confirm": Programme._confirm,
    "thicker": Programme._thicker,
    "thinner": Programme._thinner,
    "bowl_off": Programme._bowl_off,
    "bowl_on": Programme._bowl_on,
    "announce": Programme._announce,
}
TOLD = {  # the event each act is told as
    "confirm": "confirmed", "thicker": "thicker", "thinner": "thinner",
    "bowl_off": "bowl_off", "bowl_on": "bowl_on", "announce": "announced",
}
