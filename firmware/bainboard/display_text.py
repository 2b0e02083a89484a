"""What the display shows, as eight rows for its driver: pure, and loaded only where a display is fitted.

Five rows of figures with four letters beside each, then three of sixteen letters; a fault takes all eight. A row is
(figures, text, inverse). All words of one kind are in one string: on a board that is one piece of memory, not dozens.
"""

from bainboard import faults

WIDTH = 16  # letters of a row; beside a figure there is room for 4

# By fault number: what was seen | what to do.
FAULTS = """
|
water probe gives no reading|check its plug and cable
bowl probe gives no reading|check its plug and cable
water probe did not follow|is it in the water?
water warms with the heat off|replace the heater switch
water over this step's limit|hot water in? lift the bowl
water passed the hard limit|still rising? the water scalds
the board was late|rare is fine
nobody here for hours|look at it, then yes
heat came past the open guard|replace the guard relay
heat came past the switch|replace the heater switch
no heat at the start|plug, cut-out, fuse, then start
new, or trip record lost|prove the cut-offs
water too hot to start|add cold water
the clock jumped|rare is fine
the firmware met an error|test temper, start again
settings are damaged|send the rig again
warmed from outside|stove? sun? warm bowl?
water probe fell too fast|is it in the water?
bowl probe fell too fast|is its tip in the chocolate?
probes are swapped|change them over
far too little heat|plug, cut-out, fuse, lid?
far too much heat|is the water up to its mark?
the board hung and restarted|test temper, start again
restarts again and again|check its supply
memory ran short|test temper, start again
warms though heater is off|pull the plug; a stove?
the probes disagree|is the probe in the water?
no second water reading|check its plug and cable
more heat than usual|lid? draught? probe in place?
"""

# What is asked, by its key.
ASKED = """
all_melted=all melted? then yes
bowl_off=lift bowl, wipe it dry, then yes
swap=too warm: swap water for cold
seed_in=stir seed in, then yes
cool_down=stir it down to {:g} C, then yes
cooled=it is down to {:g} C? yes
bowl_on=wipe bowl dry, set back, yes
seed_more=too warm: a handful of seed
stir=yes, then stir half a minute
stirring=stir on
move_probe=probe off the wall, then yes
test=dip a blade, then yes
setting=set: yes streaky: no
set_yet=has it set? yes or no
not_set=not set, not in temper: no
more_seed=a handful of seed, then yes
lift=bowl warms: lift it, wipe it
pour=pour refill in, stir, yes
spread=spread what is left, then yes
water_low=WATER LOW unplug, fill, yes
go_on=heat went off: look; on? yes, no
look=water? probes? yes starts
"""

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
idle=yes: start again
check=testing itself
pause=HEAT OFF: UNPLUG
"""

LOCKED = "LOCKED yes+no 3s"
_PLACES = {"below": "LOW", "inside": "IN", "above": "HIGH"}


def rows(
    state: str, fault: int, asked: str, programme, temps_c: tuple, estimated: bool, duty: float, hold_ms: int,
    name: str, locked: bool, refused: str = "",
) -> list:
    """The eight rows; `programme` is None at rest, `temps_c` are water and chocolate, None where not known."""
    water_c, bowl_c = temps_c
    if fault:
        return _alarm(state, fault, water_c, bowl_c)
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
        text = words(ASKED, asked)
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


def _alarm(state: str, fault: int, water_c: float | None, bowl_c: float | None) -> list:
    """What the warmer did and whether it is safe, what was seen, what to do; then the present readings."""
    row = faults.row(fault)
    seen, _, do = FAULTS.split("\n")[row[faults.NUMBER] + 1].partition("|")
    head, then = "HEAT OFF, SAFE", ""
    if row[faults.HAZARD] == faults.UNPLUG:
        head, then = "UNPLUG IT NOW", "heat is off"
    now = f"W{figures(water_c)}" + ("" if bowl_c is None else f" choc {figures(bowl_c)}")
    clear = "then button 3 s" if state == "trip" else ""
    lines = wrap(seen, 2) + wrap(">" + do, 2) + [clear, now]
    return [("", head, True)] + [("", text, False) for text in [then] + lines]


def words(table: str, key: str) -> str:
    """The words of a key; an unknown key is shown itself."""
    at = table.find("\n" + key + "=")
    if at < 0:
        return key
    at += len(key) + 2
    return table[at : table.find("\n", at)]
