"""The steps of an evening: its present stage, what that asks, and what each act of a person does. Pure.

A stage changes by itself only into one that is no warmer. Every other change needs an answer; until it comes, the stage
repeats its question and holds the bowl at its temperature.
"""

from bainboard import stages
from bainboard.refill import EDGE_K, Refill

HYSTERESIS_K = 0.1  # to leave the window takes more than the reading's steps of 1/16 °C (chosen)
NUDGE_K = 0.3  # for "it thickens": 0.3-0.5 °C at a time (common practice, no source)
INSIDE_MS = 60 * 1000  # the bowl has settled after this long inside its window (chosen)
STIR_MS = 30 * 1000  # stirred for half a minute (chosen)
SHIFT_K = 0.5  # if stirring moves the reading by more, it was not the bowl's (chosen: the digital probe's error)
TOO_WARM_K = 0.5  # a seeded bowl this far over its window after PATIENCE_MS needs more seed (chosen)
PATIENCE_MS = 3 * 60 * 1000  # seed takes minutes to melt (chosen)
UNHEATED_MS = 60 * 1000  # the bowl warms although nothing heats it: reported after this long and 0.1 °C (chosen)
ANSWERED_MS = 10 * 60 * 1000  # an answered question is not repeated sooner (chosen)
BACK_MS = 5 * 60 * 1000  # an answer is taken back this long: a wrong press shows at once, and later a bowl has moved on


class Programme:
    """One evening from a given stage. Call `step` each pass; `take_events` gives what happened."""

    def __init__(self, profile: dict, stage: str, now_ms: int, for_ms: int, most_c: float | None = None) -> None:
        if stage not in stages.RUNNABLE:
            raise ValueError("stage: got {}, wanted one of {}".format(stage, ", ".join(stages.RUNNABLE)))
        self.done = False
        self.finished = False  # by a person's last answer, not because its time ended
        self.bowl_away = False
        self.duty_zero = False  # no heat since the last pass; set by the caller
        self.table_c: float | None = None  # what the chocolate's probe reads, on the table too; set by the caller
        self.warm_ms: int | None = None  # when the bowl first came into its window
        self.place_ms = 0  # when it came to where it is now, in the hold's time
        self.refill = Refill()
        self._most_c = most_c  # the warmer's own maximum, above any ceiling
        self._profile = profile
        self._start_ms, self.for_ms = now_ms, for_ms
        self._now_ms = now_ms
        self._water_c: float | None = None
        self._bowl_c: float | None = None
        self._answered_ms: int | None = None  # when the person last answered what a stage asks again
        self._events: list = []
        self._before: tuple | None = None  # the last act that changed something: (when, its name, where it was before)
        self.stage: str | None = None
        self._enter(stage)

    def _enter(self, stage: str) -> None:
        row = stages.BY_NAME[stage]
        if stage == "melted" and self._profile["kind"] == "melted":
            row = stages.STOCK
        same_window = self.stage in stages.TEMPERED and stage in stages.TEMPERED
        self.stage = stage
        self.prompt = ""
        self._entered_ms = self._now_ms
        self._answered_ms = None
        self._row = row
        self.low_c, target_c, self.high_c = [self._figure(each) for each in row[stages.WINDOW]]
        if not same_window:  # in the same window it may have been nudged, and stays
            self.target_c = target_c
        self.aim_c = self.target_c  # what the control aims at: the target, or beside it before a refill
        self.ceiling_c = min([self._figure(each) for each in row[stages.CEILING]])
        if self._most_c is not None:
            self.ceiling_c = min(self.ceiling_c, self._most_c)
        self.limit_c = self._figure(row[stages.LIMIT][0])
        self.walled = stage in stages.TEMPERED  # the ceiling applies to the wall
        self.heats = stage not in stages.COLD
        self.bath_only = stage in stages.BATH_ONLY
        if not same_window:
            self.place: str | None = None  # below, inside or above the window; None until the bowl was read
        self._begin_step(0)

    def _figure(self, figure: tuple) -> float:
        return self._profile[figure[0]] + figure[1]

    def _begin_step(self, at: int) -> None:
        self._at = at
        self._since_ms = self._now_ms
        self._from_c = self._bowl_c
        self._step = self._row[stages.STEPS][at]
        self._say()

    @property
    def never_left(self) -> bool:
        """Is the bowl inside its window, and has been ever since it first was?"""
        inside = self.place == stages.INSIDE and self.warm_ms is not None
        return inside and self.warm_ms - self._start_ms == self.place_ms

    def outline(self, now_ms: int) -> tuple:
        """(name of the chocolate, its whole time, the time left), ms; 0, 0: until stopped."""
        left_ms = self._start_ms + self.for_ms - now_ms if self.for_ms else 0
        return self._profile["name"], self.for_ms, max(0, left_ms)

    def take_events(self) -> list:
        """The events since the last call, in order: the name of each, and its other fields as pairs."""
        events, self._events = self._events, []
        return events

    def _report(self, name: str, pairs: list | None = None) -> None:
        self._events.append((name, pairs or []))

    @property
    def never_c(self) -> float:
        """What this chocolate must never meet, while it melts; later its bath is far colder."""
        return self._profile["never_above_c"] if self.stage == "melt" else 200.0

    @property
    def cool_c(self) -> float:
        """Where this chocolate is warmed back from."""
        return self._profile["cool_c"]

    @property
    def calls(self) -> str:
        """What calls a person by sound: the question, unless it can wait."""
        return "" if self.prompt in stages.UNHURRIED else self.prompt

    def step(self, now_ms: int, water_c: float | None, bowl_c: float | None) -> None:
        """One pass; `bowl_c` is read or estimated, or None."""
        if self.done:
            return
        self._now_ms, self._water_c, self._bowl_c = now_ms, water_c, bowl_c
        if self.refill.expire(now_ms):
            self._report("no_refill")
        if bowl_c is not None and not self.bowl_away and self.stage in stages.EDGED:
            self._place(now_ms, bowl_c)
        self._aim(now_ms, bowl_c)
        if 0 < self.for_ms <= now_ms - self._start_ms:
            self.done = True
            return
        until = self._step[stages.UNTIL]
        if until is not None and getattr(self, until)():
            self.advance()  # only into a stage that asks for no more heat: the table's test makes sure
        self._say()

    def _place(self, now_ms: int, bowl_c: float) -> None:
        slack_k = HYSTERESIS_K if self.place == stages.INSIDE else 0.0  # to leave takes more than to enter
        if self.low_c - slack_k <= bowl_c <= self.high_c + slack_k:
            place = stages.INSIDE
        else:
            place = stages.BELOW if bowl_c < self.low_c else stages.ABOVE
        if place == self.place:
            return
        self.place_ms = now_ms - self._start_ms
        first = place == stages.INSIDE and self.warm_ms is None
        if first:
            self.warm_ms = now_ms
        if self.warm_ms is not None:  # before the first entry there is no edge to report
            self._report("warm" if first else place)
        self.place = place

    def _aim(self, now_ms: int, bowl_c: float | None) -> None:
        """The bowl's aim: its target, or beside it while the bath leads for a refill."""
        self.aim_c = self.target_c
        if self._step[stages.UNTIL] == "is_melted":  # otherwise the bath eases off, and the last degrees take an hour
            self.aim_c = min(self.high_c, self.ceiling_c)
        announced = self.refill.due_ms is not None
        led_c = self.refill.aim_c(now_ms, bowl_c, self)
        if announced and self.refill.due_ms is None:
            self._report("refill")
        if led_c is not None:
            self.aim_c = led_c

    # -- the steps of a stage ------------------------------------------------------------------------------------------

    def advance(self) -> None:
        """Go to the next step or stage; after the last one the hold is over."""
        if self._step is stages.SWAP and self.prompt == "swap":  # somebody waited for it
            self._report("bath_ready")
        if self._at + 1 < len(self._row[stages.STEPS]):
            self._begin_step(self._at + 1)
        else:
            self._go(stages.after(self._row, self._profile))

    def _go(self, stage: str | None) -> None:
        if stage is None:
            self.done = self.finished = True
            return
        self._enter(stage)
        self._report("stage", [("stage", stage)])

    def _say(self) -> None:
        """Set the question: the step's key, which for two steps depends on the bowl."""
        ask, until = self._step[stages.ASK], self._step[stages.UNTIL]
        if until in stages.AT_ONCE and getattr(self, until)():
            ask = ""
        elif ask == "settling":
            ask = "seed_more" if self._wants_seed() else ""
        elif ask == "working":
            ask = "lift" if self._warms_alone() else ""
        elif ask == "cool_down":
            ask = "cooled" if self._is_cool() else ask
        elif ask == "setting":
            took_ms = self._now_ms - self._since_ms
            if took_ms >= self._profile["fail_min"] * 60000:
                ask = "not_set"
            elif took_ms >= self._profile["set_min"] * 60000:
                ask = "set_yet"
        self.prompt = ask or ("pour" if self.refill.due_ms is not None and self.refill.may_pour else "")

    def _wants_seed(self) -> bool:
        """Too warm for too long; then True until it is in its window, so that noise does not switch the question."""
        if self._bowl_c is None or self.bowl_away or self._now_ms - self._entered_ms < PATIENCE_MS or self._heard():
            return False
        return self._bowl_c > self.high_c + (0.0 if self.prompt == "seed_more" else TOO_WARM_K)

    def _is_cool(self) -> bool:
        """On the table it reads cool enough to warm back. Only a call: a probe in the air reads so too."""
        slack_k = HYSTERESIS_K if self.prompt == "cooled" else 0.0
        return self.table_c is not None and self.table_c <= self._profile["cool_c"] + slack_k

    def _warms_alone(self) -> bool:
        """Over its window and still rising with no heat on: from heat stored in the bath, or from the room."""
        if not (self.duty_zero and self.place == stages.ABOVE) or self.bowl_away or self._bowl_c is None:
            self._since_ms, self._from_c = self._now_ms, self._bowl_c
            return False
        more_k = 0.0 if self.prompt == "lift" else HYSTERESIS_K  # noise must not switch the question, beep by beep
        rose = self._from_c is not None and self._bowl_c > self._from_c + more_k
        return rose and not self._heard() and self._now_ms - self._since_ms >= UNHEATED_MS

    def _heard(self) -> bool:
        """The person has answered in this stage: time for what was done to show."""
        return self._answered_ms is not None and self._now_ms - self._answered_ms < ANSWERED_MS

    # What ends a step by itself.

    def is_melted(self) -> bool:
        """Warm enough to ask about."""
        return self._bowl_c is not None and self._bowl_c >= self.low_c and not self.bowl_away

    def is_away(self) -> bool:
        """The bowl is on the table."""
        return self.bowl_away

    def is_back(self) -> bool:
        """The bowl is in its bath."""
        return not self.bowl_away

    def bath_ready(self) -> bool:
        """The bath is under what the bowl's wall may be."""
        return self._water_c is not None and self._water_c < self.ceiling_c

    def is_settled(self) -> bool:
        """Inside its window for long enough."""
        if self.place != stages.INSIDE or self.bowl_away:
            self._since_ms = self._now_ms
        return self._now_ms - self._since_ms >= INSIDE_MS

    def is_stirred(self) -> bool:
        """Half a minute is over; the reading's change in it is reported."""
        if self._now_ms - self._since_ms < STIR_MS:
            return False
        known = self._bowl_c is not None and self._from_c is not None
        self._shift_k = self._bowl_c - self._from_c if known else 0.0
        self._report("stirred", [("shift", int(self._shift_k * 1000))])
        return True

    def is_still(self) -> bool:
        """The stirring did not move the reading."""
        return abs(self._shift_k) <= SHIFT_K

    # What yes and no do.

    def lift(self) -> None:
        """The bowl is off."""
        self.bowl_away = True
        self._report("bowl_off")
        self.advance()

    def set_back(self) -> None:
        """The bowl is back."""
        self.bowl_away = False
        self._report("bowl_on")
        self.advance()

    def stir_again(self) -> None:
        """The probe was moved."""
        self._begin_step(1)

    def has_set(self) -> None:
        """The piece has set."""
        took_ms = self._now_ms - self._since_ms
        found = stages.verdict(self._profile, took_ms)
        self._tested(found, took_ms)
        if found == stages.LATE:
            self._begin_step(0)
        else:
            self._go(self._row[stages.NEXT])

    def not_set(self) -> None:
        """It has not, or is streaked."""
        self._tested(stages.FAILED, self._now_ms - self._since_ms)
        if self._profile["cool_c"]:
            self._go("cool")
        else:
            self.advance()

    def _tested(self, found: str, took_ms: int) -> None:
        self._report("tested", [("verdict", found), ("took_s", took_ms // 1000)])

    def settle(self) -> None:
        """More seed went in."""
        self._go("settle")

    def keep(self) -> None:
        """What is left stays melted overnight."""
        self._go("melted")

    def stay(self) -> None:
        """Not yet; the host has advice, the stage repeats its question."""

    def answered(self) -> None:
        """The person dealt with it."""
        if self.prompt:
            self._answered_ms = self._now_ms

    def change(self, profile: dict, now_ms: int) -> None:
        """A bowl of another chocolate comes: the bath first."""
        self._now_ms = now_ms
        self._profile = profile
        self._before = None
        self.warm_ms = self.refill.due_ms = None
        self._go("change")

    # -- acts of a person ---------------------------------------------------------------------------------------------

    def act(self, name: str, now_ms: int, in_ms: int | None = None, leads: bool = True) -> tuple:
        """A person's act: (True, "") or (False, why); `in_ms` None: a press. For a warm refill nothing `leads`."""
        if name != "announce" and name not in ACTS:
            return False, "{}: no such act, wanted one of {}".format(name, ", ".join(sorted(list(ACTS) + ["announce"])))
        self._now_ms = now_ms
        before = self._mark()
        no = name == "thicker" and self._step[stages.NO] is not None
        events, self._events = self._events, []
        if self.done:
            why: str | None = "the hold is over"
        elif name == "announce":
            why = self._announce(now_ms, in_ms, leads)
        else:
            why = ACTS[name](self)
        if why:
            self._events = events + self._events
            return False, f"{self.stage}: {name} refused: {why}"
        if name not in ("announce", "back") and self._mark() != before:
            self._before = now_ms, name, before
        event = "denied" if no else EVENTS.get(name)
        if name == "announce" and self.refill.due_ms is None:
            event = "no_refill"
        said = not event or event in [each for each, _ in self._events]
        self._events = events + ([] if said else [(event, [])]) + self._events
        return True, ""

    def _mark(self) -> tuple:
        """Where the evening is: what an act may change."""
        return (self.stage, self._at, self.target_c, self.bowl_away, self.place, self.refill.due_ms, self._entered_ms,
                self._since_ms, self._from_c, self._answered_ms)

    def _back(self) -> str | None:
        """The last answer was a slip: back to the question before it, its timer still running."""
        if self._before is None or self._now_ms - self._before[0] > BACK_MS:
            return f"no answer of the last {BACK_MS // 60000} minutes to take back"
        (_, undid, was), self._before = self._before, None
        moved, away, due_ms = was[0] != self.stage, self.bowl_away, self.refill.due_ms
        if moved:
            self._enter(was[0])
        self._begin_step(was[1])
        (_, _, self.target_c, self.bowl_away, self.place, self.refill.due_ms, self._entered_ms, self._since_ms,
         self._from_c, self._answered_ms) = was
        self._say()
        target = int(self.target_c * 1000 + 0.5)
        self._report("taken_back", [("undid", undid), ("ask", self.prompt), ("target", target)])
        if self.bowl_away != away:
            self._report("bowl_off" if self.bowl_away else "bowl_on")
        if (self.refill.due_ms is None) != (due_ms is None):
            self._report("no_refill" if self.refill.due_ms is None else "announced")
        if moved:
            self._report("stage", [("stage", self.stage)])
        return None

    @property
    def no_keeps(self) -> bool:
        """Does a no mean that what is left stays melted overnight?"""
        return self._step[stages.NO] == "keep"

    def _announce(self, now_ms: int, in_ms: int | None, leads: bool) -> str | None:
        if self.stage not in stages.EDGED:  # before that a bowl simply takes what is put in
            return "a refill goes into a bowl that is held in its window"
        self.refill.announce(now_ms, in_ms, leads)
        return None

    def _confirm(self) -> None:
        if self.prompt == "pour":  # it is in, though a warm refill may never show in the reading
            self.refill.pour(self._now_ms)
            self._report("refill")
            return
        yes = self._step[stages.YES]
        if yes is not None:
            getattr(self, yes)()
        # Without a question it still shows that somebody is here.

    def _nudge(self, by_k: float) -> str | None:
        low_c, high_c = self.low_c + EDGE_K, self.high_c - EDGE_K
        target_c = max(low_c, min(high_c, self.target_c + by_k))
        if not abs(target_c - self.target_c) > 0.001:  # the wire reports millikelvins
            return f"the target is at {self.target_c:.1f} °C already, {EDGE_K:g} °C inside the window's end"
        self.target_c = target_c
        return None

    def _thicker(self) -> str | None:
        if self._step[stages.NO] is not None:
            getattr(self, self._step[stages.NO])()
            return None
        if self.stage != "work":
            return "only while dipping"
        why = self._nudge(NUDGE_K)
        return why and why + "; stir in warm untempered melt, or melt and temper again"

    def _thinner(self) -> str | None:
        if self.stage != "work":
            return "only while dipping"
        return self._nudge(-NUDGE_K)

    def _bowl_off(self) -> str | None:
        if self.bowl_away:
            return "the bowl is off already"
        self.bowl_away = True
        return None

    def _bowl_on(self) -> str | None:
        if not self.bowl_away:
            return "the bowl was not off"
        self.bowl_away = False
        if self.stage in stages.BATH_ONLY and not self.bath_ready():
            self._begin_step(0)  # a bath this warm would destroy the temper: off again
        return None

    def _test(self) -> str | None:
        if self.stage != "work":
            return "only while dipping"
        self._go("test")
        return None

    def _rest(self) -> str | None:
        if self.stage == "rest":
            return "it rests already"
        self._go("rest")
        return None

    def _keep_warm(self) -> str | None:
        if self.stage == "melted":
            return "it is kept melted already"
        self._go("melted")
        return None


ACTS = {
    "confirm": Programme._confirm,
    "thicker": Programme._thicker,
    "thinner": Programme._thinner,
    "bowl_off": Programme._bowl_off,
    "bowl_on": Programme._bowl_on,
    "test": Programme._test,
    "rest": Programme._rest,
    "melted": Programme._keep_warm,
    "back": Programme._back,
}
EVENTS = {  # the event of each act; the others are reported as the stage they lead to
    "confirm": "confirmed", "thicker": "thicker", "thinner": "thinner",
    "bowl_off": "bowl_off", "bowl_on": "bowl_on", "announce": "announced",
}
