"""What the server answers to: the pages a person opens. Acts, feeds and past holds have routes of their own."""

from __future__ import annotations

import time
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from bainwright.core.errors import BainError
from bainwright.page import site
from bainwright.page.access import GUESSES_S, Access
from bainwright.page.act_routes import ActRoutes
from bainwright.page.asking import Asking, address_of, asked_for, cookie_name, form_of
from bainwright.page.drawn import Drawn
from bainwright.page.feed_routes import FeedRoutes
from bainwright.page.guard import Guard
from bainwright.page.holds import Hold, Holds
from bainwright.page.past_hold_routes import PastHoldRoutes
from bainwright.page.refused import Refused
from bainwright.page.stream import MOST_LOOKING, MOST_STREAMS, EventStream, Frame, Streams
from bainwright.plan import tonight

TOO_MANY_GUESSES = "Too many wrong codes came. Wait a minute, then send the same code again: it is still good."


class PageApp:
    """The application of one server.

    Parameters
    ----------
    access : Access
        Who may look and act.
    holds : Holds
        The holds to show.
    runs_a_hold : bool
        Has the program that serves the page a hold, and so the key p?
    """

    def __init__(self, access: Access, holds: Holds, *, runs_a_hold: bool) -> None:
        self._asking, self._access, self._holds = Asking(access, holds), access, holds
        self._runs_a_hold = runs_a_hold
        self._drawn: dict[Hold, Drawn] = {}
        self.streams, self.refused = Streams(), Refused()

    def asgi(self) -> ASGIApp:
        """The application, with its guard in front."""
        looking = self._asking.looking
        routes = [
            Route("/", looking(self._now), methods=["GET"]),
            Route("/live", looking(self._live), methods=["GET"]),
            Route("/calls", looking(self._calls), methods=["GET"]),
            Route("/end", looking(self._end), methods=["GET"]),
            Route("/tonight", looking(self._tonight), methods=["GET"]),
            Route("/in", self._show_pairing, methods=["GET"]),
            Route("/in/{code}", self._show_pairing, methods=["GET"]),
            Route("/in", self._pair, methods=["POST"]),
            Route("/paired", self._paired, methods=["GET"]),
            *ActRoutes(self._asking).routes(),
            *FeedRoutes(self._asking, self._page, self._stream).routes(),
            *PastHoldRoutes(self._page).routes(looking),
            Mount("/static", StaticFiles(packages=[("bainwright.page", "static")])),
        ]
        return Guard(Starlette(routes=routes, exception_handlers={404: _not_here, 405: _not_here, 500: _broke}),
                     self._access, self.refused)

    # -- pairing -------------------------------------------------------------------------------------------------------

    async def _show_pairing(self, request: Request) -> Response:
        """The form that pairs; a link's preview must not use the code up, so only the form's button does."""
        code = str(request.path_params.get("code", ""))[:12]
        return HTMLResponse(self._page("in", "/in", code=code, wrong="",
                                       again=self._asking.was_paired(request)))  # fmt: skip

    async def _pair(self, request: Request) -> Response:
        typed = form_of(await request.body()).get("code", "")
        client, now_s = request.client.host if request.client else "", time.monotonic()
        if not self._access.may_guess(client, now_s):
            return HTMLResponse(self._page("in", "/in", code=typed[:12], wrong=TOO_MANY_GUESSES, again=False), 429,
                                {"retry-after": f"{GUESSES_S:.0f}"})  # fmt: skip
        cookie = self._access.pair(typed, client, now_s)
        if cookie is None:
            new = "Press p at the PC for a new one." if self._runs_a_hold else "Use the latest code that the PC shows."
            wrong = f"That code is not valid, or no longer. {new}"
            return HTMLResponse(self._page("in", "/in", code="", wrong=wrong, again=False), 403)
        response = RedirectResponse("/paired", 303)
        response.set_cookie(cookie_name(request), cookie, httponly=True, samesite="strict")
        return response

    async def _paired(self, request: Request) -> Response:
        """A browser that stores no cookies would only be asked for a code again, and again."""
        if self._asking.session(request) is not None:
            return RedirectResponse("/", 303)
        lines = ["The code was right, but this browser did not store the cookie that pairs it.",
                 "Allow cookies for this page, or leave private browsing. Then enter the next code from the PC."]
        return HTMLResponse(self._page("words", "/in", title="Not paired yet", lines=lines))

    # -- holds ---------------------------------------------------------------------------------------------------------

    async def _now(self, request: Request) -> Response:
        found, warmer = self._asking.hold(asked_for(request)), asked_for(request)
        if found is not None:
            return self._one(request, *found)
        holds = self._holds.all()
        if warmer is not None:
            return self._waits("This hold is not here any more", f"The hold on {warmer} has ended, or its program has.")
        return self._several(holds) if holds else RedirectResponse("/holds", 303)

    def _one(self, request: Request, warmer: str, hold: Hold) -> Response:
        shown, session = hold.shown(), self._asking.session(request)
        if shown is None:
            return self._waits("Waiting for the warmer",
                               "The warmer has not reported yet. This page follows as soon as it does.")
        reply = None
        if session is not None:
            reply, session.reply = session.reply, None
        text = self._page("now", "/", shown=shown, reply=reply, token=session.token if session else "", warmer=warmer,
                          key=hold.key, address=address_of(warmer), end=address_of(warmer, "/end"),
                          several=len(self._holds.all()) > 1,
                          readings=site.readings(shown), buttons=site.buttons(shown),
                          charts=self._drawn_of(hold).charts(shown))  # fmt: skip
        return HTMLResponse(text)

    async def _end(self, request: Request) -> Response:
        """What needs a second tap, on a page that does not load itself again between the two; for a phone without a
        script, whose page of the hold does.
        """
        found, session = self._asking.hold(asked_for(request)), self._asking.session(request)
        shown = found[1].shown() if found else None
        if found is None or shown is None:
            return RedirectResponse("/", 303)
        if session is None or not session.token:
            return RedirectResponse("/in", 303)
        warmer, hold = found
        return HTMLResponse(self._page("end", "/end", now=shown.now, token=session.token, warmer=warmer, key=hold.key,
                                       address=address_of(warmer), **site.finals(shown.now)))  # fmt: skip

    def _several(self, holds: dict[str, Hold]) -> Response:
        """All warmers at a glance, each leading to its own page."""
        warmers = [(name, address_of(name), hold.shown()) for name, hold in holds.items()]
        return HTMLResponse(self._page("warmers", "/", warmers=warmers, left_out=self._holds.left_out))

    def _waits(self, title: str, line: str) -> Response:
        return HTMLResponse(self._page("words", "/", title=title, lines=[line]), headers={"refresh": "2"})

    async def _live(self, request: Request) -> Response:
        found = self._asking.hold(asked_for(request))
        if found is None:
            return PlainTextResponse("There is no such hold here.\n", 404)
        hold, latest = found[1], self._asking.follow(*found)

        def frame() -> tuple[object, dict[str, Any]] | None:
            self._asking.session(request)  # whoever watches uses it
            shown = latest()
            return self._drawn_of(hold).frame(shown) if shown else None

        return self._stream(request, frame, hold.key, False)

    async def _calls(self, request: Request) -> Response:
        """Whether any warmer needs somebody, for the alarm on pages that show no hold."""
        def frame() -> tuple[object, dict[str, Any]]:
            moments = [shown for hold in self._holds.all().values()
                       if (shown := hold.shown()) and (shown.calls or not shown.now.over)]  # fmt: skip
            calling = any(shown.calls and not shown.now.coming for shown in moments)
            return (bool(moments), calling), {"runs": bool(moments), "calling": calling}

        return self._stream(request, frame, "", True)

    def _stream(self, request: Request, frame: Frame, of: str, whole: bool) -> Response:
        session = self._asking.session(request)
        if self.streams.open >= (MOST_STREAMS if session and session.token else MOST_LOOKING):
            return PlainTextResponse("Too many phones watch already.\n", 503, {"retry-after": "10"})
        return _Started(EventStream(frame, self.streams, of, whole=whole))

    def _drawn_of(self, hold: Hold) -> Drawn:
        if hold not in self._drawn:
            there = set(self._holds.all().values())
            self._drawn = {old: each for old, each in self._drawn.items() if old in there}
        return self._drawn.setdefault(hold, Drawn())

    # -- tonight -------------------------------------------------------------------------------------------------------

    async def _tonight(self, _: Request) -> Response:
        """The stored plan; the step that a hold is at is marked."""
        plan, trouble = None, ""
        try:
            plan = await run_in_threadpool(tonight.stored)
        except BainError as failed:
            trouble = f"The stored plan cannot be read: {failed}"
        stages = self._stages(plan) if plan else []
        return HTMLResponse(self._page("tonight", "/tonight", plan=plan, trouble=trouble, stages=stages))

    def _stages(self, plan: tonight.Tonight) -> list[str]:
        """The steps that holds of the plan's chocolate are at now; of several, of those on its warmer."""
        there = {name: shown.now for name, hold in self._holds.all().items()
                 if (shown := hold.shown()) and not shown.now.over and not shown.old
                 and shown.now.chocolate == plan.chocolate}  # fmt: skip
        if len(there) > 1:
            there = {name: now for name, now in there.items() if name == plan.warmer}
        return [now.stage for now in there.values()]

    def _page(self, name: str, here: str, **values: Any) -> str:
        pages = [*([("Now", "/")] if self._holds.all() else []), ("Tonight", "/tonight"), ("Past holds", "/holds")]
        return site.page(name, pages=pages, here=here, holds=bool(self._holds.all()), drawn_s=time.monotonic(),
                         **values)  # fmt: skip


class _Started(Response):
    """A response that is an ASGI application of its own."""

    def __init__(self, app: ASGIApp) -> None:
        super().__init__()
        self._app = app

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        await self._app(scope, receive, send)


async def _not_here(_: Request, __: Exception) -> Response:
    return PlainTextResponse("There is no such page here.\n", 404)


async def _broke(_: Request, __: Exception) -> Response:
    return PlainTextResponse("The page broke. The hold is not affected. Load it again.\n", 500)
