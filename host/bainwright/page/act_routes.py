"""The routes that act: a button's act on its way to a hold, and the reply to whoever pressed it."""

from __future__ import annotations

import asyncio
import math
import queue
import time
from collections.abc import Callable
from concurrent.futures import Future

from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from bainwright.evening.acts import BEGINS_S, BY_NAME, LATE, MANY, Act, Reply
from bainwright.page.access import Session, same
from bainwright.page.asking import Asking, address_of, form_of
from bainwright.page.holds import Hold
from bainwright.page.refused import REFUSED_AS

ARRIVES_S = BEGINS_S  # the board answers within a second; then a withdrawn act is never sent
ON_ITS_WAY_S = 3.0  # chosen: with ARRIVES_S, less than the 8 s after which a phone gives its act up (live.js)
# Without a script the page is drawn again every 5 s, and the page of what ends a hold is not (app.py). An act from an
# older one waited in a lost link, or its person does not see the present.
DRAWN_S = 20.0
UNKNOWN = Reply(False, "It may not have arrived: no answer has come yet. Look at what the page shows now.")
NOT_PAIRED = Reply(
    False, "This phone is not paired, or the PC's program was restarted. Enter the code from the PC."
)
BOUNCE_S = 2.0  # chosen: nobody takes an act back so soon; a knuckle that bounces does
BOUNCED = Reply(False, "Not sent: it takes back what was pressed a moment ago. Press it again if you mean it.")
TWICE_S = 1.0  # chosen: a page without a script sends each tap, and a knuckle taps twice; a script waits longer itself
TWICE = Reply(False, "The second of two taps was not sent; the first was.")
TOO_LATE = Reply(False, "Not sent: it reached the PC too late, or from a page that was old. Look, and press again.")
NO_ACT = Reply(False, "The page does not know this act.")
ANOTHER_HOLD = Reply(False, "Not sent: that hold has ended, and another one runs there. Load the page again.")
NO_HOLD = Reply(False, "It did not arrive: this hold is not on the page any more.")


class ActRoutes:
    """Hands acts over to holds.

    Parameters
    ----------
    asking : Asking
        Who asks, and about which hold.
    """

    def __init__(self, asking: Asking) -> None:
        self._asking = asking

    def routes(self) -> list[Route]:
        """The routes."""
        return [Route("/act", self._act, methods=["POST"]), Route("/coming", self._come, methods=["POST"])]

    async def _act(self, request: Request) -> Response:
        """Hand an act over, and report how it went: to the page's script as JSON, else at the top of the page."""
        form = form_of(await request.body())
        session = self._session(request, form)
        act = BY_NAME.get(form.get("act", ""))
        if session is None or act is None:
            return _answer(request, session, form, *((NOT_PAIRED, 403) if session is None else (NO_ACT, 400)))
        now_s = time.monotonic()
        if (refused := _refused(session, form, now_s)) is not None:
            return _answer(request, session, form, *refused)
        if _takes_back(act, session.pressed, now_s):
            return _answer(request, session, form, BOUNCED, 409)
        if not _by_script(request) and session.pressed[0] == act.name and now_s - session.pressed[1] < TWICE_S:
            return _answer(request, session, form, TWICE, 409)
        session.pressed = act.name, now_s
        return await self._deliver(request, session, form, lambda hold: hold.act(act, form.get("seen", "")))

    async def _come(self, request: Request) -> Response:
        """Somebody is on their way: alarms rest for five minutes, on every phone and every other way."""
        form = form_of(await request.body())
        session = self._session(request, form)
        if session is None:
            return _answer(request, None, form, NOT_PAIRED, 403)
        if (refused := _refused(session, form, time.monotonic())) is not None:
            return _answer(request, session, form, *refused)
        return await self._deliver(request, session, form, lambda hold: hold.come())

    def _session(self, request: Request, form: dict[str, str]) -> Session | None:
        session = self._asking.session(request)
        may_act = session is not None and session.token and same(form.get("token", ""), session.token)
        return session if may_act else None

    async def _deliver(
        self, request: Request, session: Session, form: dict[str, str], hand_over: Callable[[Hold], Future[Reply]]
    ) -> Response:
        found = self._asking.hold(form.get("warmer"))
        if found is None:
            reply = NO_HOLD
        elif form.get("hold", found[1].key) != found[1].key:
            reply = ANOTHER_HOLD
        else:
            reply = await _delivered(found[1], hand_over)
        return _answer(request, session, form, reply, 200 if reply.done else 409)


async def _delivered(hold: Hold, hand_over: Callable[[Hold], Future[Reply]]) -> Reply:
    """Wait for the hold's reply. What it has not begun by then is withdrawn, so that it does not arrive later."""
    try:
        reply = hand_over(hold)
    except queue.Full:
        return MANY
    done, _ = await asyncio.wait([asyncio.wrap_future(reply)], timeout=ARRIVES_S)
    if done or not reply.cancel():
        return reply.result() if reply.done() and not reply.cancelled() else UNKNOWN
    return LATE


def _refused(session: Session, form: dict[str, str], now_s: float) -> tuple[Reply, int] | None:
    """Why nothing more is taken from a phone now, or too late; None where it is taken."""
    if session.acts.full(now_s):
        return MANY, 429
    session.acts.count(now_s)
    in_time = _since_s(form, "at", now_s) <= ON_ITS_WAY_S if "at" in form else _since_s(form, "drawn", now_s) <= DRAWN_S
    return None if in_time else (TOO_LATE, 409)


def _takes_back(act: Act, pressed: tuple[str, float], now_s: float) -> bool:
    """Is it the opposite of what the same phone pressed a moment ago? Opposites have one key."""
    name, at_s = pressed
    opposite = name != act.name and name in BY_NAME and BY_NAME[name].key == act.key
    return opposite and now_s - at_s < BOUNCE_S


def _since_s(form: dict[str, str], field: str, now_s: float) -> float:
    """How long ago the button was pressed, or the page drawn; 0 where the form does not say.

    What a phone sent into a lost link arrives when the link is back, minutes after the phone said that it did not.
    """
    try:
        return now_s - float(form.get(field, now_s))
    except ValueError:
        return math.nan


def _by_script(request: Request) -> bool:
    return "application/json" in request.headers.get("accept", "")


def _answer(request: Request, session: Session | None, form: dict[str, str], reply: Reply, status: int) -> Response:
    if _by_script(request):
        return JSONResponse({"done": reply.done, "words": reply.words}, status)
    request.scope[REFUSED_AS] = status  # a page without a script is led on
    if session is None:
        return RedirectResponse("/in", 303)
    session.reply = reply
    return RedirectResponse(address_of(form["warmer"]) if "warmer" in form else "/", 303)
