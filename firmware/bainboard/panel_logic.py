"""The panel's logic: what a press means in each state, what lamps and buzzer show. Pure: levels and time in and out."""

from bainboard import faults, panel

# What a button's act means in states other than the one it is named for.
_INSTEAD = {
    ("confirm", "pause"): "resume",
    ("pause", "pause"): "resume",
    ("thicker", "pause"): "rest",  # paused with hands in the water, no means that the dipping is over
    ("announce", "pause"): "next",  # or that another chocolate's bowl comes next
    ("confirm", "idle"): "again",
    ("thicker", "idle"): "another",
}
_WINK_MS, _WINKS_MS = 400, 4000  # chosen: visible in passing, too little light to wake anyone
_ONCE = {"warm": panel.WARM, "ended": panel.DONE, "refused": panel.REFUSED}  # events that sound once


class PanelLogic:
    """Feed it the buttons' levels, the events and the state; read `lamps` and `buzzer`."""

    def __init__(self) -> None:
        self._buttons = panel.Buttons()
        self._buzzer = panel.Buzzer()
        self._alarm: str | None = None
        self._number = 0
        self._number_ms: int | None = None
        self.locked, self._lock_ms = False, -_WINK_MS
        self._why, self._refused_ms = "", -panel.REFUSAL_MS
        self.lamps = (0, 0, 0)
        self.buzzer = 0

    def acts(self, now_ms: int, pressed: tuple, state: str) -> list:
        """The acts these levels make (yes, no, recessed; True is pressed), by their meaning in this state."""
        yes, no, recessed = pressed
        made = self._buttons.feed(now_ms, yes, no, recessed)
        return self._meant(now_ms, made, state) if made else made

    def _meant(self, now_ms: int, made: list, state: str) -> list:
        acts = [_INSTEAD.get((act, state), act) for act in made]
        if self.locked:
            if self._alarm is not None:
                self.silence(now_ms)
            return [act for act in acts if act in ("lock", "clear")]
        if self._alarm is None or "confirm" not in acts:
            return acts
        # A first press only answers the alarm: it clears nothing and confirms nothing else.
        self.silence(now_ms)
        return [act for act in acts if act != "confirm"]

    def silence(self, now_ms: int) -> None:
        """Quiet for five minutes."""
        self._buzzer.silence(now_ms)

    def lock(self, locked: bool, now_ms: int) -> None:
        """At night the large buttons only answer an alarm; the middle lamp winks then, and once when the lock ends."""
        self.locked, self._lock_ms = locked, now_ms

    def number(self, number: int, now_ms: int) -> None:
        """Show a number from 1 to 7 for a while."""
        self._number, self._number_ms = number, now_ms

    def refuse(self, why: str, now_ms: int) -> None:
        """A press was refused: say why for a while."""
        self._why, self._refused_ms = why.rpartition(" refused: ")[2], now_ms  # the part before it is for programs

    def refusal(self, now_ms: int) -> str:
        """Why the last press was refused, while that is to be shown."""
        return self._why if now_ms - self._refused_ms < panel.REFUSAL_MS else ""

    def event(self, name: str, now_ms: int) -> None:
        """Take an event; some have a sound."""
        if name in _ONCE:
            self._buzzer.stop(_ONCE[name])
            self._buzzer.want(_ONCE[name], now_ms)

    def darken(self) -> None:
        """Lamps and buzzer are out of use: no alarm waits to be answered by a press."""
        self._alarm, self.lamps, self.buzzer = None, (0, 0, 0), 0

    def show(self, now_ms: int, state: str, place: str | None, fault: int, asked: str,
             sure: bool = False) -> None:
        """Set lamps and buzzer for this moment; `sure`: it is known that the water does not rise with the heat off."""
        alarm = alarm_of(fault)
        if alarm != self._alarm:
            if self._alarm is not None:
                self._buzzer.stop(self._alarm)
            if alarm is not None:
                self._buzzer.want(alarm, now_ms)
            self._alarm = alarm
        if asked:
            self._buzzer.want(panel.ASK, now_ms)
        else:
            self._buzzer.stop(panel.ASK)
        self.lamps = panel.lamps(state, place, panel.UNSURE if alarm == panel.MORNING and not sure else alarm, now_ms)
        if self._number_ms is not None and alarm is None and state in ("idle", "pause"):
            if now_ms - self._number_ms < panel.NUMBER_MS:
                self.lamps = panel.number(self._number)
            else:
                self._number_ms = None
        if alarm is None and now_ms - self._refused_ms < panel.SHAKE_MS:
            self.lamps = panel.shake(now_ms - self._refused_ms)
        since_ms = now_ms - self._lock_ms
        if alarm is None and since_ms % _WINKS_MS < _WINK_MS and (self.locked or since_ms < _WINK_MS):
            below, inside, above = self.lamps
            self.lamps = (below, 1 - inside, above)
        self.buzzer = self._buzzer.level(now_ms)


def alarm_of(fault: int) -> str | None:
    """The alarm for a fault in force: come now and unplug it, or see it in the morning; None without a fault."""
    if fault == faults.NONE:
        return None
    return panel.UNPLUG if faults.TO_UNPLUG >> fault & 1 else panel.MORNING
