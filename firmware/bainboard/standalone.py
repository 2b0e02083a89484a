"""What the board does without a PC: start as last time, pick a chocolate, resume after a power cut."""

from bainboard.chunks import short_hash
from bainboard.wire import milli

AGAIN_MS = 60 * 1000  # chosen: time to look at the water and the probes
WATER_LOW = "the float says that the water is low, or its 24 V is off: fill the bath to its mark first"
UNKNOWN_NAME = "no chocolate of that name is stored here; profiles lists them"


class Standalone:
    """Starts holds for the buttons and for the host, and answers the buttons at rest."""

    def __init__(self, app) -> None:
        self._app = app
        self._documents = app.documents
        self._pressed_ms: int | None = None  # when yes was first pressed at rest
        self._locked_until_ms = 0  # no hold starts before, by message or by button

    # -- starting ------------------------------------------------------------------------------------------------------

    def lock_out(self, until_ms: int) -> None:
        """No hold starts before then: the probes are being calibrated."""
        self._locked_until_ms = until_ms

    def locked_out(self, now_ms: int) -> bool:
        """Is the heat locked out, the probes in somebody's hand?"""
        return now_ms < self._locked_until_ms

    def start(self, stage: str, for_ms: int, room_c: float, now_ms: int) -> str | None:
        """Begin a new hold and remember what was asked for: None, or why not."""
        why = self._start(stage, for_ms, room_c, now_ms)
        if why is None:
            self._app.power.started(False)
            self._documents.saved.remember(stage, for_ms, milli(room_c))
        return why

    def resume_offer(self, now_ms: int, by_itself: bool = False) -> str | None:
        """Resume the hold that was running when the board last ended: None, or why not."""
        offer = self._app.power.offer
        if offer is None:
            return "no hold waits to be resumed"
        if offer["name"] != self._documents.profile["name"]:
            why = self.use(self.find(offer["name"]), now_ms)
            if why:
                return why
        why = self._start(offer["stage"], offer["left_ms"], offer["room"] / 1000, now_ms)
        if why is None:
            self._app.power.started(by_itself)
            self._app.warmer.report("went_on", [("by_itself", by_itself)])
        return why

    def resume(self, now_ms: int) -> str | None:
        """End the water pause: None, or why not."""
        return WATER_LOW if self._app.water_low else self._app.warmer.resume(now_ms)

    def _start(self, stage: str, for_ms: int, room_c: float, now_ms: int) -> str | None:
        """Begin a hold and log it: None, or why not."""
        app, damaged = self._app, self._documents.damaged
        if damaged:
            return f"{damaged[0]}: damaged, or not for this board; send it again first"
        if self.locked_out(now_ms):
            return "the heat is locked out while the probes are calibrated"
        if app.water_low:
            return WATER_LOW
        why = app.warmer.start(self._documents.profile, stage, for_ms, room_c, now_ms)
        if why is None:
            app.restart_tick(now_ms)
            app.log.begin(now_ms, self._hold_facts(stage, for_ms, room_c))
        return why

    def _hold_facts(self, stage: str, for_ms: int, room_c: float) -> list:
        """What the hold was asked to be, for the log: enough to judge it without the host that asked."""
        from bainboard import settings  # loaded for this, and dropped again: see heap_reserve

        d = self._documents
        pairs: list = [("stage", stage), ("for_ms", for_ms), ("room", milli(room_c)),
                 ("warmer", d.settings["name"]), ("settings", short_hash(d.payload["settings"]))]
        for row in settings.PROFILE:
            value = d.profile[row[settings.NAME]]
            pairs.append((row[settings.NAME], milli(value) if row[settings.KIND] == settings.FLOAT else value))
        return pairs

    # -- saved chocolates ---------------------------------------------------------------------------------------------

    def find(self, name: str) -> bytes | None:
        """The payload of the saved chocolate of this name, or None."""
        place = self._documents.saved.find(name)
        return None if place is None else self._documents.saved.at(place)

    def use(self, payload: bytes | None, now_ms: int) -> str | None:
        """Start with this chocolate from now on: None, or why not."""
        return UNKNOWN_NAME if payload is None else self._documents.save("profile", payload)

    def change(self, payload: bytes, now_ms: int) -> str | None:
        """The next bowl of the running hold is of this chocolate: None, or why not."""
        # Not stored as the one to start with: the flash is never written while something heats.
        values, why = self._documents.check("profile", payload)
        return why or self._app.warmer.change(values, now_ms)

    # -- the buttons -------------------------------------------------------------------------------------------------

    @property
    def prompt(self) -> str:
        """What a board at rest asks: to resume after a power cut; or, after the first press, to look at the water."""
        if self._app.power.offer is not None and self._app.power.asked:
            return "go_on"
        return "look" if self._pressed_ms is not None else ""

    def yes(self, now_ms: int) -> str | None:
        """Yes at rest: the first press asks to look at water and probes, the second starts as last time.

        After a power cut it resumes instead.
        """
        if self._app.power.offer is not None:
            return self.resume_offer(now_ms)
        if self._pressed_ms is None or now_ms - self._pressed_ms > AGAIN_MS:
            self._pressed_ms = now_ms
            return None
        self._pressed_ms = None
        i, last, kind = self._app.warmer.inputs, self._documents.saved.last(), self._documents.profile["kind"]
        if i.bowl_fitted and i.bowl_c is None:
            return "the chocolate probe gives no reading"
        stage = "melted" if kind == "melted" else "melt" if last["stage"] in ("melted", "tune") else last["stage"]
        return self.start(stage, last["for_ms"], last["room"] / 1000, now_ms)

    def no(self, now_ms: int) -> str | None:
        """No at rest: the next saved chocolate; after a power cut, do not resume."""
        if self._app.power.offer is not None:
            self._app.power.drop()
            return None
        return self._choose(self._documents.profile["name"], self.use, now_ms)

    def next_bowl(self, now_ms: int) -> str | None:
        """Yes held in a pause: the next bowl is of the next saved chocolate."""
        return self._choose(self._app.warmer.programme.outline(now_ms)[0], self.change, now_ms)

    def _choose(self, name: str, take, now_ms: int) -> str | None:
        """Take the first usable chocolate saved after the one of this name: None, or why none was taken."""
        saved = self._documents.saved
        rows = saved.rows()[:]  # a chocolate that is taken may be saved again
        why, at = "no other chocolate is stored here; a PC sends them", saved.find(name)
        for step in range(1, len(rows)):
            place = step - 1 if at is None else (at + step) % len(rows)
            why = take(saved.at(place), now_ms)
            if why is None:
                self._app.chosen(place + 1, rows[place][0], now_ms)
                break
        return why

    def forget_press(self, now_ms: int) -> None:
        """Forget a first press that no second one followed."""
        if self._pressed_ms is not None and now_ms - self._pressed_ms > AGAIN_MS:
            self._pressed_ms = None
