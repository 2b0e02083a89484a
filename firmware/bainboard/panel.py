"""The panel: two large buttons and a recessed one, three lamps, a buzzer. Pure: levels and time in, levels out.

Hands are covered in chocolate and the kitchen is loud: a clumsy press counts too, and each beep has its own rhythm.
"""

# The meanings of a sound.
UNPLUG, MORNING, REFUSED, ASK, WARM, DONE = "unplug", "morning", "refused", "ask", "warm", "done"
UNSURE = "unsure"  # lamps alone: as MORNING, while it is not known yet that the water does not rise

DEBOUNCE_MS = 30  # an elbow's bounce (chosen: switches settle in 5-20 ms, common practice, no source)
LONG_MS = 1200  # longer than an accidental press (chosen)
CLEAR_MS = 3000  # fixed by the safety rules: seen released, then held 3 s
LOCK_MS = 3000  # no elbow leans on both for so long (chosen)


class Button:
    """One button: a short press acts on release, a long one once it is long. It must first be seen released."""

    def __init__(self, long_ms: int, short: str | None, long: str | None, short_ms: int | None = None) -> None:
        self._long_ms, self._short, self._long = long_ms, short, long
        self._short_ms = short_ms  # released later than this it is no short press either; None: any time before long
        self._level: bool | None = None  # last level seen
        self._steady: bool | None = None  # last one that stayed
        self._edge_ms = 0
        self._pressed_ms: int | None = None  # when the press began, while it can still cause an act

    def feed(self, now_ms: int, pressed: bool):
        """Take the present level; returns the act it makes, or None."""
        if pressed != self._level:
            self._level, self._edge_ms = pressed, now_ms
        if now_ms - self._edge_ms < DEBOUNCE_MS:
            return None
        if pressed != self._steady:
            before, self._steady = self._steady, pressed
            if pressed:
                # A button held down since power came is not pressed: a stuck or taped one does nothing.
                self._pressed_ms = self._edge_ms if before is False else None
            elif self._pressed_ms is not None:
                held_ms, self._pressed_ms = self._edge_ms - self._pressed_ms, None
                return self._short if self._short_ms is None or held_ms < self._short_ms else None
        if self._steady and self._pressed_ms is not None and now_ms - self._pressed_ms >= self._long_ms:
            self._pressed_ms = None
            return self._long
        return None

    def drop(self) -> None:
        """Let this press cause no act."""
        self._pressed_ms = None


_NO_ACTS: list = []  # the result of most slices; shared, never filled


class Buttons:
    """All three, and the large ones held together: `feed` the levels (True is pressed) each slice to get the acts."""

    def __init__(self) -> None:
        self._yes = Button(LONG_MS, "confirm", "announce")
        self._no = Button(LONG_MS, "thicker", "pause")
        self._recessed = Button(CLEAR_MS, None, "clear")
        self._both = Button(LOCK_MS, "back", "lock", LONG_MS)  # a lock given up halfway is no step back

    def feed(self, now_ms: int, yes: bool, no: bool, recessed: bool) -> list:
        """The acts of this slice, in order."""
        act_yes, act_no = self._yes.feed(now_ms, yes), self._no.feed(now_ms, no)
        act_recessed, act_both = self._recessed.feed(now_ms, recessed), self._both.feed(now_ms, yes and no)
        if yes and no:
            self._yes.drop()
            self._no.drop()
        if act_yes is None and act_no is None and act_recessed is None and act_both is None:
            return _NO_ACTS
        return [act for act in (act_yes, act_no, act_recessed, act_both) if act is not None]


# -- lamps ----------------------------------------------------------------------------------------------------------

_DARK, _ALL = (0, 0, 0), (1, 1, 1)
_PLACES = {"below": (1, 0, 0), "inside": (0, 1, 0), "above": (0, 0, 1)}


def lamps(state: str, place: str | None, alarm: str | None, now_ms: int) -> tuple:
    """The lamps below, in and above the window.

    An alarm that needs someone now flashes all of them, quickly; one for the morning winks all of them every four
    seconds, and each second until it is known that the water does not rise. A pause lights the outer two steadily: the
    pause is on; unplug before hands go in. The self-test runs along them. Idle is dark.
    """
    if alarm == UNPLUG:
        return _ALL if now_ms % 400 < 200 else _DARK
    if alarm == UNSURE:
        return _ALL if now_ms % 1000 < 200 else _DARK
    if alarm == MORNING:
        return _ALL if now_ms % 4000 < 200 else _DARK
    if state == "pause":
        return (1, 0, 1)
    if state == "check":
        return (_PLACES["below"], _PLACES["inside"], _PLACES["above"])[now_ms // 500 % 3]
    return _PLACES.get(place, _DARK) if state in ("hold", "off") else _DARK


NUMBER_MS = 10 * 1000  # long enough to count lamps (chosen)


def number(count: int) -> tuple:
    """A number from 1 to 7 on three lamps: the lowest counts 1, the middle one 2, the highest 4."""
    return (count & 1, count >> 1 & 1, count >> 2 & 1)


REFUSAL_MS = 15 * 1000  # why a press was refused is on the display so long: eight short lines to read (chosen)
SHAKE_MS = 3000  # chosen: longer than the long tone that goes with it


def shake(since_ms: int) -> tuple:
    """No: light goes from one outer lamp to the other, as a head is shaken."""
    return _PLACES["above" if since_ms // 300 % 2 else "below"]


# -- buzzer -----------------------------------------------------------------------------------------------------------

SILENCE_MS = 5 * 60 * 1000  # fixed by the safety rules
MORNING_MS = 60 * 1000  # sounds a minute, then only winks

# Each: a rhythm of on and off times in ms, and how long it plays (0: until answered).
SOUNDS = {
    UNPLUG: ((150, 100, 150, 100, 150, 350), 0),  # three hard knocks, repeated
    MORNING: ((700, 400, 700, 3200), MORNING_MS),  # two long calls, like a ship far off
    REFUSED: ((900, 300), 1200),  # one long call, once: the button that was pressed does nothing now
    ASK: ((80, 80, 80, 19760), 0),  # a small double tap three times a minute
    WARM: ((60, 60, 60, 60, 400, 500), 1140),  # two taps and a long note, once
    DONE: ((400, 200, 400, 200, 400, 400), 2000),  # three even notes, once
}
_RANK = (UNPLUG, MORNING, REFUSED, ASK, DONE, WARM)  # the first one wanted is played


class Buzzer:
    """Plays the most urgent sound wanted. Silencing and answering quiet it; neither clears its cause."""

    def __init__(self) -> None:
        self._since: dict = {}  # sound -> when it began
        self._quiet_until_ms: int | None = None

    def want(self, sound: str, now_ms: int) -> None:
        """Start a sound that is not already wanted."""
        if sound not in self._since:
            self._since[sound] = now_ms

    def stop(self, sound: str) -> None:
        """Stop a sound whose cause is over or was answered."""
        self._since.pop(sound, None)

    def silence(self, now_ms: int) -> None:
        """Quiet for five minutes; sounds still wanted then continue."""
        self._quiet_until_ms = now_ms + SILENCE_MS

    def level(self, now_ms: int) -> int:
        """1 while it sounds."""
        if self._quiet_until_ms is not None and now_ms < self._quiet_until_ms:
            return 0
        for sound in _RANK:
            if sound in self._since:
                played_ms = now_ms - self._since[sound]
                rhythm, length_ms = SOUNDS[sound]
                if not length_ms or played_ms < length_ms:
                    return _beat(rhythm, played_ms)
        return 0


def _beat(rhythm: tuple, played_ms: int) -> int:
    at_ms = played_ms % sum(rhythm)
    on = 1
    for span_ms in rhythm:
        if at_ms < span_ms:
            return on
        at_ms -= span_ms
        on = 1 - on
    return 0
