"""What the display shows, as eight rows for its driver: pure, and loaded only where a display is fitted.

Five rows of figures with four letters beside each, then three of sixteen letters; a fault takes all eight. A row is
(figures, text, inverse). All words of one kind are in one string: on a board that is one piece of memory, not dozens.
"""

from bainboard import faults

WIDTH = 16  # letters of a row; beside a figure there is room for 4

# What it is doing, by the stage, or by the state where that says more.
_DOING = """
melt=melting
seed=seeding
cool=cooling
settle=settling
test=temper test
work=dipping
rest=rest, heat off
melted=melted stock
tune=learning
change=changing bowl
idle=yes: start
check=testing itself
pause=HEAT OFF: UNPLUG
"""

LOCKED = "LOCKED yes+no 3s"
_shown: dict = {}  # the question and the fault shown last, and their words
_PLACES = {"below": "LOW", "inside": "IN", "above": "HIGH"}


def rows(
    state: str, fault: int, asked: str, programme, temps_c: tuple, estimated: bool, duty: float, hold_ms: int,
    name: str, locked: bool, refused: str = "", sure: bool = False,
) -> list:
    """The eight rows; `programme` is None at rest, `temps_c` are water and chocolate, None where not known.

    `sure`: it is known that the water does not rise with the heat off.
    """
    water_c, bowl_c = temps_c
    if fault:
        return _alarm(state, fault, water_c, bowl_c, sure)
    if refused:
        return [("", "NOT NOW", True)] + [("", text, False) for text in wrap(refused, 7)]
    if locked:
        first = LOCKED
    elif programme is None:
        first = name[:WIDTH]
    else:
        first = f"{programme.low_c:.1f}-{programme.high_c:.1f} W{figures(water_c)}"
    side = _side(state, programme, bowl_c, estimated, duty)
    big = figures(water_c if bowl_c is None else bowl_c)
    lines = [first] + _small(state, asked, programme, hold_ms)
    return [(big, text, False) for text in side] + [("", text, False) for text in lines]


def figures(temp_c: float | None) -> str:
    """A temperature in figures that fit: tenths below 100 °C."""
    if temp_c is None:
        return "--.-"
    return f"{temp_c:.1f}" if temp_c < 99.95 else f"{temp_c:.0f}"


def wrap(text: str, count: int) -> list:
    """Words in exactly this many lines of the display's width; what does not fit is left out."""
    lines = [""]
    for word in text.split():
        longer = lines[-1] + " " + word if lines[-1] else word
        if len(longer) <= WIDTH:
            lines[-1] = longer
        else:
            lines.append(word[:WIDTH])
    return (lines + [""] * count)[:count]


def _side(state: str, programme, bowl_c: float | None, estimated: bool, duty: float) -> tuple:
    """The words beside the figures: where the chocolate is, what the figures are, and the heat."""
    place = _PLACES.get(programme.place, "") if programme is not None and state != "check" else ""
    what = "bath" if bowl_c is None else "est." if estimated else ""
    return (place, what, "", "heat" if duty > 0 else "", f"{duty * 100:3.0f}%" if duty > 0 else "")


def _small(state: str, asked: str, programme, hold_ms: int) -> list:
    """The question asked; with none, what the warmer is doing and the time so far or left."""
    if asked and asked != "working":
        text = _looked_up(asked)
        return wrap(text.format(programme.cool_c) if programme is not None else text, 2)
    if programme is None:
        return [words(_DOING, state), "no: next kind" if state == "idle" else ""]
    stage = programme.stage if state in ("hold", "off") else state
    left_ms = programme.for_ms - hold_ms
    span, what = (left_ms, "left") if programme.for_ms else (hold_ms, "gone")
    minutes = (max(span, 0) + 59999 * (what == "left")) // 60000
    doing = words(_DOING, stage)
    if state == "off" and stage != "rest":
        doing = "heat off"
    if stage == "melted" and programme.warm_ms is not None:
        doing = _night(programme, hold_ms)
    return [doing, f"{minutes // 60}:{minutes % 60:02d} {what}"]


def _night(programme, hold_ms: int) -> str:
    """The morning line for melted stock: how long it has been where it is, and "fit" if it never left its window."""
    minutes = max(hold_ms - programme.place_ms, 0) // 60000
    span = f"{minutes // 60}:{minutes % 60:02d}"
    if programme.place != "inside":
        return f"{_PLACES[programme.place]} for {span}"
    return f"{programme.target_c:.0f} for {span}" + (" fit" if programme.never_left else "")


def _alarm(state: str, fault: int, water_c: float | None, bowl_c: float | None, sure: bool) -> list:
    """What the warmer did and whether it is safe, what was seen, what to do; then the present readings."""
    row = faults.row(fault)
    seen, _, do = _looked_up(row[faults.NUMBER]).partition("|")
    head, then = ("HEAT OFF, SAFE", "") if sure else ("HEAT OFF", "rises? unplug it")
    if row[faults.HAZARD] == faults.UNPLUG:
        head, then = "UNPLUG IT NOW", "heat is off"
    now = f"W{figures(water_c)}" + ("" if bowl_c is None else f" choc {figures(bowl_c)}")
    clear = "then button 3 s" if state == "trip" else ""
    if fault == faults.UNASKED_HEAT:
        clear = "then let it cool"
    lines = wrap(seen, 2) + wrap(">" + do, 2) + [clear, now]
    return [("", head, True)] + [("", text, False) for text in [then] + lines]


def lacks_words(fault: int, asked: str) -> bool:
    """Must the words for this be loaded first?"""
    key = fault or ("" if asked == "working" else asked)
    return bool(key) and key not in _shown


def _looked_up(asked: str | int) -> str:
    """The words of a question by its key, or of a fault by its number."""
    if asked not in _shown:
        from bainboard import display_words

        _shown.clear()
        _shown[asked] = words(display_words.ASKED, asked) if isinstance(asked, str) else display_words.fault(asked)
    return _shown[asked]


def words(table: str, key: str) -> str:
    """The words of a key; an unknown key is shown itself."""
    at = table.find("\n" + key + "=")
    if at < 0:
        return key
    at += len(key) + 2
    return table[at : table.find("\n", at)]
