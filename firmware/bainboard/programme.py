"""Tonight's steps, told as stages: where the evening is, what it asks, and what a person's act makes of it. Pure.

A stage goes by itself only into one that is no warmer. Everything else it asks, and unanswered it holds: what it asks
stays asked, and the bowl stays where it is.
"""

from bainboard import stages

HYSTERESIS_K = 0.1  # out of the window by more than the reading's steps of 1/16 K (chosen)
NUDGE_K = 0.3  # "it thickens": the usual 0.3-0.5 K at a time (common practice, no source)
EDGE_K = 0.1  # and never closer to the window's ends than this
LEAD_MS = 5 * 60 * 1000  # a refill comes this long after it is announced, when nobody says
LATE_MS = 5 * 60 * 1000  # and is not coming when it is this late: ten minutes after a press (chosen)
LEAD_K = 0.7  # until it comes the bowl's aim leads by this: enough for all the ceiling allows (chosen, simulated)
POURED_K = 0.3  # a fall that says it came: five steps of 1/16 K (chosen)
LED_K = 0.1  # led as far as it will go: this near to where it waits (chosen)
INSIDE_MS = 60 * 1000  # the bowl has settled when it was inside its window for this long (chosen)
STIR_MS = 30 * 1000  # stirred for half a minute (chosen)
SHIFT_K = 0.5  # a reading that stirring moves by more was not the bowl's (chosen: the digital probe's own error)
TOO_WARM_K = 0.5  # over its window by this after a while, a seeded bowl needs more seed rather than patience (chosen)
PATIENCE_MS = 3 * 60 * 1000  # that while: seed takes minutes to melt (chosen)
IDLE_MS = 60 * 1000  # the bowl warms although nothing heats it: believed after this long and 0.1 K (chosen)
HEARD_MS = 10 * 60 * 1000  # what was answered is not asked again so soon (chosen)


def led_c(target_c, high_c, ceiling_c, bowl_c):
    """What a bowl is to aim at while a refill is coming; it waits just inside its window's end."""
    return max(target_c, min(target_c + LEAD_K, 2.0 * (high_c - EDGE_K) - bowl_c, ceiling_c))


def eased_c(target_c, low_c):
    """The same for a refill that is warmer than the bowl: the bath gives way to it."""
    return min(target_c, max(target_c - LEAD_K, low_c + EDGE_K))


class Programme:
    """One run from a stage on. `step` it each pass; `take_events` gives what happened since, `details` of each."""

    def __init__(self, profile, stage, now_ms, for_ms, most_c=None):
        if stage not in stages.RUNNABLE:
            raise ValueError("stage: got {}, wanted one of {}".format(stage, ", ".join(stages.RUNNABLE)))
        self.done = False
        self.finished = False  # by a person's last answer rather than by its time
        self.bowl_away = False
        self.duty_zero = False  # nothing was heated since the last pass; the caller says so
        self.warm_ms = None  # when the bowl first came into its window
        self.place_ms = 0  # since when it is where it is now, in the hold's time
        self.due_ms = None  # when the refill that was announced should come
        self._led_c = None  # the furthest the bowl went since the bath leads
        self._pours = False  # it may come now
        self._leads = True  # it is colder than the bowl, as far as is known
        self._most_c = most_c  # the warmer's own: no ceiling goes over it
        self._profile = profile
        self._start_ms, self.for_ms = now_ms, for_ms
        self._now_ms = now_ms
        self._water_c = self._bowl_c = None
        self._quiet_ms = None  # when the person last said that the bowl's warmth was heard of
        self._events = []
        self._told = {}
        self.stage = None
        self._enter(stage)

    def _enter(self, stage):
        row = stages.BY_NAME[stage]
        if stage == "melted" and self._profile["kind"] == "melted":
            row = stages.STOCK
        edges_go_on = self.stage in stages.TEMPERED and stage in stages.TEMPERED
        self.stage = stage
        self.prompt = ""
        self._entered_ms = self._now_ms
        self._row = row
        self.low_c, target_c, self.high_c = [self._figure(each) for each in row[stages.WINDOW]]
        if not edges_go_on:  # else it may have been nudged, and stays
            self.target_c = target_c
        self.aim_c = self.target_c  # what the control is to aim at: the target, or beside it while a refill is coming
        self.ceiling_c = min([self._figure(each) for each in row[stages.CEILING]])
        if self._most_c is not None:
            self.ceiling_c = min(self.ceiling_c, self._most_c)
        self.limit_c = self._figure(row[stages.LIMIT][0])
        self.walled = stage in stages.TEMPERED  # the ceiling is the wall's
        self.heats = stage not in stages.COLD
        self.bath_only = stage in stages.BATH_ONLY
        if not edges_go_on:
            self.place = None  # below, inside or above the window; None until the bowl was read
        self._begin_step(0)

    def _figure(self, figure):
        return self._profile[figure[0]] + figure[1]

    def _begin_step(self, at):
        self._at = at
        self._since_ms = self._now_ms
        self._from_c = self._bowl_c
        self._step = self._row[stages.STEPS][at]
        self._say()

    @property
    def never_left(self):
        """Is the bowl inside its window, and has been ever since it first was?"""
        inside = self.place == stages.INSIDE and self.warm_ms is not None
        return inside and self.warm_ms - self._start_ms == self.place_ms

    def outline(self, now_ms):
        """(name of the chocolate, how long it was to go on, how much of that is left), ms; 0, 0: until stopped."""
        left_ms = self._start_ms + self.for_ms - now_ms if self.for_ms else 0
        return self._profile["name"], self.for_ms, max(0, left_ms)

    def take_events(self):
        """What happened since this was last asked, as names in order."""
        events, self._events = self._events, []
        return events

    def details(self, name):
        """What is to be told with an event beyond its name, as pairs."""
        return self._told.pop(name, [])

    def _tell(self, name, pairs=None):
        self._events.append(name)
        if pairs:
            self._told[name] = pairs

    @property
    def calls(self):
        """What calls for a person, by sound: what is asked, unless it can wait."""
        return "" if self.prompt in stages.UNHURRIED else self.prompt

    def step(self, now_ms, water_c, bowl_c):
        """One pass; `bowl_c` read or estimated, None when neither."""
        if self.done:
            return
        self._now_ms, self._water_c, self._bowl_c = now_ms, water_c, bowl_c
        if self.due_ms is not None and now_ms - self.due_ms > LATE_MS:
            self.due_ms = None
            self._tell("no_refill")
        if bowl_c is not None and not self.bowl_away and self.stage in stages.EDGED:
            self._place(now_ms, bowl_c)
        self._aim(now_ms, bowl_c)
        if 0 < self.for_ms <= now_ms - self._start_ms:
            self.done = True
            return
        until = self._step[stages.UNTIL]
        if until is not None and getattr(self, until)():
            self.go_on()  # only into a stage that asks for no more heat: the check of the table holds it to that
        self._say()

    def _place(self, now_ms, bowl_c):
        slack_k = HYSTERESIS_K if self.place == stages.INSIDE else 0.0  # leaving takes more than entering
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
        if self.warm_ms is not None:  # before the first entry there is no edge to tell
            self._tell("warm" if first else place)
        self.place = place

    def _aim(self, now_ms, bowl_c):
        """The bath leads for a refill that is coming, up or down; the bowl waits at its window's end."""
        self.aim_c = self.target_c
        if self._step[stages.UNTIL] == "is_melted":  # else the bath would ease off, and the last kelvins take an hour
            self.aim_c = min(self.high_c, self.ceiling_c)
        if self.due_ms is None or bowl_c is None or now_ms < self.due_ms - LEAD_MS:
            self._led_c = None
            return
        if self._led_c is None:
            self._led_c = bowl_c
        self._led_c = max(self._led_c, bowl_c) if self._leads else min(self._led_c, bowl_c)
        if abs(bowl_c - self._led_c) > POURED_K:
            self.due_ms = None
            return
        if self._leads:
            self.aim_c = led_c(self.target_c, self.high_c, self.ceiling_c, bowl_c)
        else:
            self.aim_c = eased_c(self.target_c, self.low_c)
        led = self._leads and bowl_c >= self.high_c - EDGE_K - LED_K
        self._pours = self._pours or now_ms >= self.due_ms or led

    # -- the steps of a stage ------------------------------------------------------------------------------------------

    def go_on(self):
        """The next step, or the next stage; after the last of them it is over."""
        if self._step is stages.SWAP and self._now_ms > self._since_ms:  # it was waited for
            self._tell("bath_ready")
        if self._at + 1 < len(self._row[stages.STEPS]):
            self._begin_step(self._at + 1)
        else:
            self._go(self._row[stages.NEXT])

    def _go(self, stage):
        if stage is None:
            self.done = self.finished = True
            return
        self._enter(stage)
        self._tell("stage", [("stage", stage)])

    def _say(self):
        """What is asked now: the step's key, and what two of them make of the bowl."""
        ask, until = self._step[stages.ASK], self._step[stages.UNTIL]
        if until in stages.AT_ONCE and getattr(self, until)():
            ask = ""
        elif ask == "settling":
            ask = "seed_more" if self._wants_seed() else ""
        elif ask == "working":
            ask = "lift" if self._warms_alone() else ""
        elif ask == "setting":
            took_ms = self._now_ms - self._since_ms
            if took_ms >= self._profile["fail_min"] * 60000:
                ask = "not_set"
            elif took_ms >= self._profile["set_min"] * 60000:
                ask = "set_yet"
        self.prompt = ask or ("pour" if self.due_ms is not None and self._pours else "")

    def _wants_seed(self):
        """Too warm for too long; then until it is in its window, so that a reading's noise does not ask and unask."""
        if self._bowl_c is None or self.bowl_away or self._now_ms - self._entered_ms < PATIENCE_MS:
            return False
        return self._bowl_c > self.high_c + (0.0 if self.prompt == "seed_more" else TOO_WARM_K)

    def _warms_alone(self):
        """Over its window, nothing heats it, and still it goes up: what the bath has stored, or the room."""
        if not (self.duty_zero and self.place == stages.ABOVE) or self.bowl_away or self._bowl_c is None:
            self._since_ms, self._from_c = self._now_ms, self._bowl_c
            return False
        heard = self._quiet_ms is not None and self._now_ms - self._quiet_ms < HEARD_MS
        more_k = 0.0 if self.prompt == "lift" else HYSTERESIS_K  # noise is not to ask and unask, beep by beep
        rose = self._from_c is not None and self._bowl_c > self._from_c + more_k
        return rose and not heard and self._now_ms - self._since_ms >= IDLE_MS

    # What ends a step by itself.

    def is_melted(self):
        """Warm enough to be asked about."""
        return self._bowl_c is not None and self._bowl_c >= self.low_c and not self.bowl_away

    def is_away(self):
        """The bowl is on the table."""
        return self.bowl_away

    def is_back(self):
        """The bowl is in its bath."""
        return not self.bowl_away

    def bath_ready(self):
        """The bath is under what the bowl's wall may be."""
        return self._water_c is not None and self._water_c < self.ceiling_c

    def is_settled(self):
        """Inside its window for long enough."""
        if self.place != stages.INSIDE or self.bowl_away:
            self._since_ms = self._now_ms
        return self._now_ms - self._since_ms >= INSIDE_MS

    def is_stirred(self):
        """Half a minute is over; what the reading did in it is told."""
        if self._now_ms - self._since_ms < STIR_MS:
            return False
        known = self._bowl_c is not None and self._from_c is not None
        self._shift_k = self._bowl_c - self._from_c if known else 0.0
        self._tell("stirred", [("shift", int(self._shift_k * 1000))])
        return True

    def is_still(self):
        """The stirring did not move the reading."""
        return abs(self._shift_k) <= SHIFT_K

    # What yes and no do.

    def lift(self):
        """The bowl is off."""
        self.bowl_away = True
        self._tell("bowl_off")
        self.go_on()

    def set_back(self):
        """The bowl is back."""
        self.bowl_away = False
        self._tell("bowl_on")
        self.go_on()

    def stir_again(self):
        """The probe was moved."""
        self._begin_step(1)

    def has_set(self):
        """The piece has set."""
        took_ms = self._now_ms - self._since_ms
        found = stages.verdict(self._profile, took_ms)
        self._tested(found, took_ms)
        if found == stages.LATE:
            self._begin_step(0)
        else:
            self._go(self._row[stages.NEXT])

    def not_set(self):
        """It has not, or is streaked."""
        self._tested(stages.FAILED, self._now_ms - self._since_ms)
        self.go_on()

    def _tested(self, found, took_ms):
        self._tell("tested", [("verdict", found), ("took_s", took_ms // 1000)])

    def settle(self):
        """More seed went in."""
        self._go("settle")

    def keep(self):
        """What is left stays melted overnight."""
        self._go("melted")

    def stay(self):
        """Not yet; the host has advice, the stage goes on asking."""

    def heard(self):
        """Somebody saw to it."""
        if self.prompt:
            self._quiet_ms = self._now_ms

    def change(self, profile, now_ms):
        """Another bowl comes, of another chocolate: the bath first."""
        self._now_ms = now_ms
        self._profile = profile
        self.warm_ms = self.due_ms = None
        self._go("change")

    # -- acts of a person ---------------------------------------------------------------------------------------------

    def act(self, name, now_ms, in_ms=None, leads=True):
        """A person's act: (True, "") or (False, why); `in_ms` None: a press. For a warm refill nothing `leads`."""
        if name not in ACTS:
            return False, "{}: no such act, wanted one of {}".format(name, ", ".join(sorted(ACTS)))
        self._now_ms = now_ms
        if name == "announce":
            self._leads = leads
        no = name == "thicker" and self._step[stages.NO] is not None
        events, self._events = self._events, []
        why = "the hold is over" if self.done else ACTS[name](self, now_ms, in_ms)
        if why:
            self._events = events + self._events
            return False, f"{self.stage}: {name} refused: {why}"
        told = "denied" if no else TOLD.get(name)
        if name == "announce" and self.due_ms is None:
            told = "no_refill"
        self._events = events + ([told] if told and told not in self._events else []) + self._events
        return True, ""

    @property
    def no_keeps(self):
        """Does a no mean that what is left stays melted overnight?"""
        return self._step[stages.NO] == "keep"

    def _confirm(self, now_ms, in_ms):
        if self.prompt == "pour":  # it is in, though a warm one may never show
            self.due_ms = None
            return
        yes = self._step[stages.YES]
        if yes is not None:
            getattr(self, yes)()
        # With nothing asked it still says that somebody is here.

    def _nudge(self, by_k):
        low_c, high_c = self.low_c + EDGE_K, self.high_c - EDGE_K
        target_c = max(low_c, min(high_c, self.target_c + by_k))
        if not abs(target_c - self.target_c) > 0.001:  # millikelvins are what the wire tells
            return f"the target is at {self.target_c:.1f} °C already, {EDGE_K:g} K inside the window's end"
        self.target_c = target_c
        return None

    def _thicker(self, now_ms, in_ms):
        if self._step[stages.NO] is not None:
            getattr(self, self._step[stages.NO])()
            return None
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
        if self.stage in stages.BATH_ONLY and not self.bath_ready():
            self._begin_step(0)  # a bath as warm as that would cost the temper: off again
        return None

    def _announce(self, now_ms, in_ms):
        if in_ms is None:  # a press: fetching it, and pressed again: not coming after all
            self.due_ms = now_ms + LEAD_MS if self.due_ms is None else None
        else:
            self.due_ms = now_ms + in_ms
        self._pours = False
        self._led_c = None

    def _test(self, now_ms, in_ms):
        if self.stage != "work":
            return "a temper is tested from work"
        self._go("test")
        return None

    def _rest(self, now_ms, in_ms):
        if self.stage == "rest":
            return "it rests already"
        self._go("rest")
        return None

    def _keep_warm(self, now_ms, in_ms):
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
    "announce": Programme._announce,
    "test": Programme._test,
    "rest": Programme._rest,
    "melted": Programme._keep_warm,
}
TOLD = {  # the event each act is told as; the others are told as the stage they lead to
    "confirm": "confirmed", "thicker": "thicker", "thinner": "thinner",
    "bowl_off": "bowl_off", "bowl_on": "bowl_on", "announce": "announced",
}
