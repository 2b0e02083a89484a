"""What the server answers to: routes, each a few lines. What they show is made elsewhere."""

from __future__ import annotations

import asyncio
import queue
import time
from collections.abc import Awaitable, Callable
from typing import Any, NamedTuple
from urllib.parse import parse_qs

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from bainwright.alarms.rules import Coming
from bainwright.core.errors import BainError
from bainwright.evening.acts import BY_NAME, COMES, LATE, MANY, Act, Inbox, Reply
from bainwright.live import feeds
from bainwright.live.latest import Latest, Shown
from bainwright.page import site
from bainwright.page.access import Access, Session, same
from bainwright.page.guard import Guard
from bainwright.page.past_hold_routes import PastHoldRoutes
from bainwright.page.stream import MOST_STREAMS, EventStream, Streams
from bainwright.plan import tonight

ARRIVES_S = 4.0  # the board answers within a second; then a withdrawn act is never sent
UNKNOWN = Reply(False, "It may not have arrived: the board has not answered yet. Look at what the page shows now.")
NOT_PAIRED = Reply(
    False, "This phone is not paired, or the PC's program was restarted. Enter the code from the PC."
)

Answer = Callable[[Request], Awaitable[Response]]


class Hold(NamedTuple):
    """What ties the pages to a hold: its latest moment, where acts go, and who learns that somebody is coming."""

    latest: Latest
    inbox: Inbox
    coming: Coming


class PageApp:
    """The application of one server.

    Parameters
    ----------
    access : Access
        Who may look and act.
    hold : Hold, optional
        The hold that runs; None where none does.
    """

    def __init__(self, access: Access, hold: Hold | None = None) -> None:
        self._access, self._hold = access, hold
        self.streams = Streams()
        self._pages = [*([("Now", "/")] if hold else []), ("Tonight", "/tonight"), ("Past holds", "/holds")]
        self._frame: tuple[object, dict[str, Any]] | None = None
        self._charts: tuple[object, str] | None = None

    def asgi(self) -> ASGIApp:
        """The application, with its guard in front."""
        routes = [
            Route("/", self._looking(self._now), methods=["GET"]),
            Route("/live", self._looking(self._live), methods=["GET"]),
            Route("/now.json", self._looking(self._now_json), methods=["GET"]),
            Route("/now.stream", self._looking(self._now_stream), methods=["GET"]),
            Route("/metrics", self._looking(self._metrics), methods=["GET"]),
            Route("/feeds", self._looking(self._feeds), methods=["GET"]),
            Route("/act", self._act, methods=["POST"]),
            Route("/coming", self._come, methods=["POST"]),
            Route("/in", self._show_pairing, methods=["GET"]),
            Route("/in/{code}", self._show_pairing, methods=["GET"]),
            Route("/in", self._pair, methods=["POST"]),
            Route("/tonight", self._looking(self._tonight), methods=["GET"]),
            *PastHoldRoutes(self._page).routes(self._looking),
            Mount("/static", StaticFiles(packages=[("bainwright.page", "static")])),
        ]
        return Guard(Starlette(routes=routes, exception_handlers={404: _not_here, 405: _not_here, 500: _broke}),
                     self._access)

    # -- who asks ------------------------------------------------------------------------------------------------------

    def _looking(self, answer: Answer) -> Answer:
        """Let only those in who may look; the others learn how to pair."""

        async def checked(request: Request) -> Response:
            if not self._access.may_look(self._session(request), _bearer(request.headers)):
                return RedirectResponse("/in", 303)
            return await answer(request)

        return checked

    def _session(self, request: Request) -> Session | None:
        return self._access.session(request.cookies.get(_cookie(request)), time.monotonic())

    async def _show_pairing(self, request: Request) -> Response:
        """The form that pairs; a link's preview must not use the code up, so only the form's button does."""
        code = str(request.path_params.get("code", ""))[:12]
        return HTMLResponse(self._page("in", "/in", code=code, wrong=""))

    async def _pair(self, request: Request) -> Response:
        typed = _form(await request.body()).get("code", "")
        cookie = self._access.pair(typed, time.monotonic())
        if cookie is None:
            new = "Press p at the PC for a new one." if self._hold else "Use the latest code that the PC shows."
            wrong = f"That code is not valid, or no longer. {new}"
            return HTMLResponse(self._page("in", "/in", code="", wrong=wrong), 403)
        response = RedirectResponse("/", 303)
        response.set_cookie(_cookie(request), cookie, httponly=True, samesite="strict")
        return response

    # -- the hold ------------------------------------------------------------------------------------------------------

    def _shown(self) -> Shown | None:
        return self._hold.latest.get() if self._hold else None

    async def _now(self, request: Request) -> Response:
        if self._hold is None:
            return RedirectResponse("/holds", 303)
        shown, session = self._shown(), self._session(request)
        if shown is None:
            lines = ["The warmer has not reported yet. This page follows as soon as it does."]
            text = self._page("words", "/", title="Waiting for the warmer", lines=lines)
            return HTMLResponse(text, headers={"refresh": "2"})
        reply = None
        if session is not None:
            reply, session.reply = session.reply, None
        text = self._page("now", "/", shown=shown, reply=reply, token=session.token if session else "",
                          readings=site.readings(shown), buttons=site.buttons(shown.now),
                          charts=self._charts_of(shown))  # fmt: skip
        return HTMLResponse(text)

    async def _tonight(self, _: Request) -> Response:
        """The stored plan; the step that the hold is at is marked."""
        plan, trouble, shown = None, "", self._shown()
        try:
            plan = await run_in_threadpool(tonight.stored)
        except BainError as failed:
            trouble = f"The stored plan cannot be read: {failed}"
        stage = shown.now.stage if shown and not shown.now.over else ""
        return HTMLResponse(self._page("tonight", "/tonight", plan=plan, trouble=trouble, stage=stage))

    async def _live(self, request: Request) -> Response:
        return self._stream(EventStream(self._latest_frame, self.streams))

    def _stream(self, stream: EventStream) -> Response:
        if self.streams.open >= MOST_STREAMS:
            return PlainTextResponse("Too many phones watch already.\n", 503, {"retry-after": "10"})
        return _Started(stream)

    def _latest_frame(self) -> tuple[object, dict[str, Any]] | None:
        """What pages show live, made once for all of them."""
        shown = self._shown()
        if shown is None:
            return None
        key = _key(shown)
        if self._frame is None or self._frame[0] != key:
            self._frame = key, {
                "readings": site.readings(shown), "buttons": site.buttons(shown.now), "charts": self._charts_of(shown),
            }  # fmt: skip
        return self._frame

    def _charts_of(self, shown: Shown) -> str:
        """Drawn again only when there is a new sample or event."""
        now = shown.now
        key = (now.hour[-1:], len(now.events), now.events[-1:], now.low_c, now.high_c, now.ceiling_c)
        if self._charts is None or self._charts[0] != key:
            self._charts = key, site.charts(now)
        return self._charts[1]

    # -- for other programs --------------------------------------------------------------------------------------------

    async def _now_json(self, request: Request) -> Response:
        shown = self._shown()
        if shown is None:
            return JSONResponse({"error": "no hold has reported yet"}, 503)
        return JSONResponse(feeds.as_json(shown, course=True))

    async def _now_stream(self, request: Request) -> Response:
        def frame() -> tuple[object, dict[str, Any]] | None:
            shown = self._shown()
            return None if shown is None else (_key(shown), feeds.as_json(shown, course=False))

        return self._stream(EventStream(frame, self.streams, whole=True))

    async def _metrics(self, request: Request) -> Response:
        return Response(feeds.metrics(self._shown()), media_type=feeds.METRICS_TYPE)

    async def _feeds(self, request: Request) -> Response:
        """Where programs read; the token only to a phone that may act."""
        token = self._access.feed_token if self._session(request) and not self._access.open_to_look else ""
        return HTMLResponse(self._page("feeds", "/feeds", address=f"http://{request.headers['host']}", token=token,
                                       open_to_look=self._access.open_to_look))  # fmt: skip

    # -- acts ----------------------------------------------------------------------------------------------------------

    async def _act(self, request: Request) -> Response:
        """Hand an act over, and report how it went: to the page's script as JSON, else at the top of the page."""
        form, session = _form(await request.body()), self._session(request)
        if session is None or not same(form.get("token", ""), session.token):
            return _reply(request, None, NOT_PAIRED, 403)
        act = BY_NAME.get(form.get("act", ""))
        if act is None or self._hold is None:
            return _reply(request, session, Reply(False, "The page does not know this act."), 400)
        now_s = time.monotonic()
        if session.acts.full(now_s):
            return _reply(request, session, MANY, 429)
        session.acts.count(now_s)
        reply = await _deliver(self._hold.inbox, act, form.get("seen", ""))
        return _reply(request, session, reply, 200 if reply.done else 409)

    async def _come(self, request: Request) -> Response:
        """Somebody is on their way: alarms rest for five minutes, on every phone and every other way."""
        form, session = _form(await request.body()), self._session(request)
        if session is None or self._hold is None or not same(form.get("token", ""), session.token):
            return _reply(request, None, NOT_PAIRED, 403)
        self._hold.coming.say(time.monotonic())
        return _reply(request, session, COMES, 200)

    def _page(self, name: str, here: str, **values: Any) -> str:
        return site.page(name, pages=self._pages, here=here, **values)


class _Started(Response):
    """A response that is an ASGI application of its own."""

    def __init__(self, app: ASGIApp) -> None:
        super().__init__()
        self._app = app

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        await self._app(scope, receive, send)


def _key(shown: Shown) -> object:
    """Tells one frame from the next: a moment that gets old is a new one every second."""
    return shown.number, int(shown.age_s) if shown.old else 0


async def _deliver(inbox: Inbox, act: Act, seen: str) -> Reply:
    """Wait for the hold's reply. What it has not begun by then is withdrawn, so that it does not arrive later."""
    try:
        reply = inbox.put(act, seen)
    except queue.Full:
        return MANY
    done, _ = await asyncio.wait([asyncio.wrap_future(reply)], timeout=ARRIVES_S)
    if done or not reply.cancel():
        return reply.result() if reply.done() and not reply.cancelled() else UNKNOWN
    return LATE


def _reply(request: Request, session: Session | None, reply: Reply, status: int) -> Response:
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"done": reply.done, "words": reply.words}, status)
    if session is None:
        return RedirectResponse("/in", 303)
    session.reply = reply
    return RedirectResponse("/", 303)


def _form(body: bytes) -> dict[str, str]:
    """The fields of a form; what is no form has none."""
    try:
        found = parse_qs(body.decode("ascii"), max_num_fields=8)
    except (UnicodeDecodeError, ValueError):
        return {}
    return {name: values[0] for name, values in found.items()}


def _cookie(request: Request) -> str:
    """The cookie's name: browsers share cookies among the ports of a host, and each warmer's page has a port."""
    return f"bain-{request.url.port or 80}"


def _bearer(headers: Headers) -> str | None:
    kind, _, token = headers.get("authorization", "").partition(" ")
    return token if kind.lower() == "bearer" else None


async def _not_here(_: Request, __: Exception) -> Response:
    return PlainTextResponse("There is no such page here.\n", 404)


async def _broke(_: Request, __: Exception) -> Response:
    return PlainTextResponse("The page broke. The hold is not affected. Load it again.\n", 500)


