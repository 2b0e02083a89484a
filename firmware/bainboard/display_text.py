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
    into: list, state: str, fault: int, asked: str, programme, temps_c: tuple, estimated: bool, duty: float,
    hold_ms: int, name: str, locked: bool, refused: str = "", sure: bool = False,
) -> None:
    """The eight rows, put into a list; one that shows what it did stays the same object, so a tick makes few.

    `programme` is None at rest, `temps_c` are water and chocolate, None where not known. `sure`: it is known that the
    water does not rise with the heat off.
    """
    water_c, bowl_c = temps_c
    if fault:
        _alarm(into, state, fault, water_c, bowl_c, sure)
        return
    if refused:
        _put(into, 0, "", "NOT NOW", True)
        _put_lines(into, 1, wrap(refused, 7))
        return
    big = figures(water_c if bowl_c is None else bowl_c)
    placed = programme is not None and state != "check"
    _put(into, 0, big, _PLACES.get(programme.place, "") if placed else "")
    _put(into, 1, big, "bath" if bowl_c is None else "est." if estimated else "")
    _put(into, 2, big, "")
    _put(into, 3, big, "heat" if duty > 0 else "")
    _put(into, 4, big, f"{duty * 100:3.0f}%" if duty > 0 else "")
    if locked:
        first = LOCKED
    elif programme is None:
        first = name[:WIDTH]
    else:
        first = f"{programme.low_c:.1f}-{programme.high_c:.1f} W{figures(water_c)}"
    _put(into, 5, "", first)
    _small(into, state, asked, programme, hold_ms)


def _put(into: list, at: int, big: str, text: str, inverse: bool = False) -> None:
    row = into[at]
    if row is None or row[0] != big or row[1] != text or row[2] != inverse:
        into[at] = big, text, inverse


def _put_lines(into: list, at: int, lines: list) -> None:
    for line in lines:
        _put(into, at, "", line)
        at += 1


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


def _small(into: list, state: str, asked: str, programme, hold_ms: int) -> None:
    """The question asked; with none, what the warmer is doing and the time so far or left."""
    if asked and asked != "working":
        text = _looked_up(asked)
        _put_lines(into, 6, wrap(text.format(programme.cool_c) if programme is not None else text, 2))
        return
    if programme is None:
        _put(into, 6, "", words(_DOING, state))
        _put(into, 7, "", "no: next kind" if state == "idle" else "")
        return
    stage = programme.stage if state in ("hold", "off") else state
    left_ms = programme.for_ms - hold_ms
    span, what = (left_ms, "left") if programme.for_ms else (hold_ms, "gone")
    minutes = (max(span, 0) + 59999 * (what == "left")) // 60000
    doing = words(_DOING, stage)
    if state == "off" and stage != "rest":
        doing = "heat off"
    if stage == "melted" and programme.warm_ms is not None:
        doing = _night(programme, hold_ms)
    _put(into, 6, "", doing)
    _put(into, 7, "", f"{minutes // 60}:{minutes % 60:02d} {what}")


def _night(programme, hold_ms: int) -> str:
    """The morning line for melted stock: how long it has been where it is, and "fit" if it never left its window."""
    minutes = max(hold_ms - programme.place_ms, 0) // 60000
    span = f"{minutes // 60}:{minutes % 60:02d}"
    if programme.place != "inside":
        return f"{_PLACES[programme.place]} for {span}"
    return f"{programme.target_c:.0f} for {span}" + (" fit" if programme.never_left else "")


def _alarm(into: list, state: str, fault: int, water_c: float | None, bowl_c: float | None, sure: bool) -> None:
    """What the warmer did and whether it is safe, what was seen, what to do; then the present readings."""
    seen, _, do = _looked_up(fault).partition("|")
    head, then = ("HEAT OFF, SAFE", "") if sure else ("HEAT OFF", "rises? unplug it")
    if faults.TO_UNPLUG >> fault & 1:
        head, then = "UNPLUG IT NOW", "heat is off"
    now = f"W{figures(water_c)}" + ("" if bowl_c is None else f" choc {figures(bowl_c)}")
    clear = "then button 3 s" if state == "trip" else ""
    if fault == faults.UNASKED_HEAT:
        clear = "then let it cool"
    _put(into, 0, "", head, True)
    _put_lines(into, 1, [then] + wrap(seen, 2) + wrap(">" + do, 2) + [clear, now])


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
