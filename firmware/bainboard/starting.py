"""Starts holds for the host and for the buttons at rest: new ones, as last time, or after a power cut.

Loaded when one of these is asked for, and dropped again: see heap_reserve.
"""

from bainboard.chunks import short_hash
from bainboard.powerup import RUNNING
from bainboard.wire import milli

WATER_LOW = "the float says that the water is low, or its 24 V is off: fill the bath to its mark first"
NOT_STORED = "the flash is full or worn, so a trip could not be kept through a power cut; delete files you do not need"
UNKNOWN_NAME = "no chocolate of that name is stored here; profiles lists them"


def start(app, stage: str, for_ms: int, room_c: float, now_ms: int) -> str | None:
    """Begin a new hold and remember what was asked for: None, or why not."""
    def begun() -> None:
        app.power.started(False)
        app.documents.saved.remember(stage, for_ms, milli(room_c))

    return _start(app, stage, for_ms, room_c, now_ms, begun)


def resume_offer(app, now_ms: int, by_itself: bool = False) -> str | None:
    """Resume the hold that was running when the board last ended: None, or why not."""
    offer = app.power.offer
    if offer is None:
        return "no hold waits to be resumed"
    if offer["name"] != app.documents.profile["name"]:
        why = use(app, find(app, offer["name"]), now_ms)
        if why:
            return why

    def begun() -> None:
        app.warmer.report("went_on", [("by_itself", by_itself)])
        app.power.started(by_itself)

    return _start(app, offer["stage"], offer["left_ms"], offer["room"] / 1000, now_ms, begun)


def resume(app, now_ms: int) -> str | None:
    """End the water pause: None, or why not."""
    return WATER_LOW if app.water_low else app.warmer.resume(now_ms)


def _start(app, stage: str, for_ms: int, room_c: float, now_ms: int, begun) -> str | None:
    """Begin a hold, log it and call `begun`: None, or why not. With no memory for any of it, nothing heats."""
    damaged = app.documents.damaged
    if damaged:
        return f"{damaged[0]}: damaged, or not for this board; send it again first"
    if app.standalone.locked_out(now_ms):
        return "the heat is locked out while the probes are calibrated"
    if app.water_low:
        return WATER_LOW
    try:  # on a flash that takes no latch a trip would be forgotten with the power
        app.latch_slots.double()
        app.boot_slots.save(app.power.record(RUNNING, None))
    except OSError:
        return NOT_STORED
    facts = _hold_facts(app.documents, stage, for_ms, room_c)
    why = app.warmer.start(app.documents.profile, stage, for_ms, room_c, now_ms)
    if why is None:
        try:
            app.service.leave = app.service.knocked = False  # asked for at rest: a request never ends a hold
            app.restart_tick(now_ms)
            app.log.begin(now_ms, facts)
            begun()
        except Exception:  # it is answered as a start that was not done
            app.warmer.stop()
            raise
    return why


def _hold_facts(documents, stage: str, for_ms: int, room_c: float) -> list:
    """What the hold was asked to be, for the log: enough to judge it without the host that asked."""
    from bainboard import settings  # a large one, and a resume does without

    pairs: list = [("stage", stage), ("for_ms", for_ms), ("room", milli(room_c)),
                   ("warmer", documents.settings["name"]), ("settings", short_hash(documents.payload["settings"]))]
    for row in settings.PROFILE:
        value = documents.profile[row[settings.NAME]]
        pairs.append((row[settings.NAME], milli(value) if row[settings.KIND] == settings.FLOAT else value))
    return pairs


# -- saved chocolates -------------------------------------------------------------------------------------------------


def find(app, name: str) -> bytes | None:
    """The payload of the saved chocolate of this name, or None."""
    place = app.documents.saved.find(name)
    return None if place is None else app.documents.saved.at(place)


def use(app, payload: bytes | None, now_ms: int) -> str | None:
    """Start with this chocolate from now on: None, or why not."""
    return UNKNOWN_NAME if payload is None else app.documents.save("profile", payload)


def change(app, payload: bytes, now_ms: int) -> str | None:
    """The next bowl of the running hold is of this chocolate: None, or why not."""
    # Not stored as the one to start with: the flash is never written while something heats.
    values, why = app.documents.check("profile", payload)
    return why or app.warmer.change(values, now_ms)


# -- the buttons ------------------------------------------------------------------------------------------------------


def again(app, now_ms: int) -> str | None:
    """Yes at rest: the first press asks to look at water and probes, the second starts as last time.

    After a power cut it resumes instead.
    """
    if app.power.offer is not None:
        return resume_offer(app, now_ms)
    if not app.standalone.is_second_press(now_ms):
        return None
    i, last, kind = app.warmer.inputs, app.documents.saved.last(), app.documents.profile["kind"]
    if i.bowl_fitted and i.bowl_c is None:
        return "the chocolate probe gives no reading"
    stage = "melted" if kind == "melted" else "melt" if last["stage"] in ("melted", "tune") else last["stage"]
    return start(app, stage, last["for_ms"], last["room"] / 1000, now_ms)


def another(app, now_ms: int) -> str | None:
    """No at rest: the next saved chocolate; after a power cut, do not resume."""
    if app.power.offer is not None:
        app.power.drop()
        return None
    return _choose(app, app.documents.profile["name"], use, now_ms)


def next_bowl(app, now_ms: int) -> str | None:
    """Yes held in a pause: the next bowl is of the next saved chocolate."""
    return _choose(app, app.warmer.programme.outline(now_ms)[0], change, now_ms)


def _choose(app, name: str, take, now_ms: int) -> str | None:
    """Take the first usable chocolate saved after the one of this name: None, or why none was taken."""
    saved = app.documents.saved
    rows = saved.rows()[:]  # a chocolate that is taken may be saved again
    why, at = "no other chocolate is stored here; a PC sends them", saved.find(name)
    for step in range(1, len(rows)):
        place = step - 1 if at is None else (at + step) % len(rows)
        why = take(app, saved.at(place), now_ms)
        if why is None:
            app.chosen(place + 1, rows[place][0], now_ms)
            break
    return why
