"""Requests about a hold: start it, and what the person does meanwhile. To end it: `requests_urgent`.

In each module of requests a function has the request's name on the wire. It takes the app, the checked arguments and
the time, and returns (pairs of the answer, None) or (None, reason).
"""

from bainboard import starting
from bainboard.wire import milli


def start(app, args: dict, now_ms: int) -> tuple:
    """Begin a hold; the answer has its limits."""
    w = app.warmer
    room_c = args["room"] / 1000 if args["room"] is not None else w.values["room_c"]
    why = starting.start(app, args["stage"], args["for_ms"], room_c, now_ms)
    if why:
        return None, why
    p = w.programme
    short_c = p.target_c + w.values["bowl_offset_c"] - w.cascade.water_ceiling(p.ceiling_c)
    return [
        ("low", milli(p.low_c)), ("target", milli(p.target_c)), ("high", milli(p.high_c)),
        ("ceiling", milli(p.ceiling_c)), ("limit", milli(p.limit_c)),
        ("check_s", w.selftest.left_s(now_ms)), ("short", max(0, milli(short_c))),
        ("boot", app.log.boot), ("hold", app.log.hold),
    ], None


def resume(app, args: dict, now_ms: int) -> tuple:
    """Hands are out again."""
    return [], starting.resume(app, now_ms)


def bowl(app, args: dict, now_ms: int) -> tuple:
    """The bowl is off, or back."""
    return [], app.warmer.act("bowl_" + args["at"], now_ms)


def announce(app, args: dict, now_ms: int) -> tuple:
    """A refill is coming; where it is warmer than the chocolate the bath gives way instead of leading."""
    in_s, temp, p = args["in_s"], args["temp"], app.warmer.programme
    cold = temp is None or p is None or temp < 1000 * p.target_c
    return [], app.warmer.act("announce", now_ms, in_ms=None if in_s is None else in_s * 1000, leads=cold)


def confirm(app, args: dict, now_ms: int) -> tuple:
    """Yes: done, passed, still here; at rest, resume after a power cut."""
    if app.warmer.state == "idle":
        return [], starting.resume_offer(app, now_ms)
    return [], app.warmer.act("confirm", now_ms)


def thicker(app, args: dict, now_ms: int) -> tuple:
    """The chocolate thickens."""
    return [], app.warmer.act("thicker", now_ms)


def thinner(app, args: dict, now_ms: int) -> tuple:
    """The chocolate thins."""
    return [], app.warmer.act("thinner", now_ms)


def test(app, args: dict, now_ms: int) -> tuple:
    """Test the temper now."""
    return [], app.warmer.act("test", now_ms)


def finish(app, args: dict, now_ms: int) -> tuple:
    """The dipping is over: rest, or keep what is left melted."""
    return [], app.warmer.act(args["to"], now_ms)


def back(app, args: dict, now_ms: int) -> tuple:
    """The last answer was a slip."""
    return [], app.warmer.act("back", now_ms)
