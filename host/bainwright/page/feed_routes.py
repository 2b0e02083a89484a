"""The routes for other programs: a hold as JSON, as a stream and as metrics. They only read."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from bainwright.live import feeds
from bainwright.page.asking import Asking, asked_for
from bainwright.page.drawn import key_of
from bainwright.page.openapi import DESCRIPTION, METRICS, NOW, STREAM, WARMERS, description
from bainwright.page.stream import Frame

NO_REPORT = {"error": "no hold has reported yet"}


class FeedRoutes:
    """Answers programs.

    Parameters
    ----------
    asking : Asking
        Who asks, and about which hold.
    draw : callable
        Makes a page.
    stream : callable
        Makes the response of a stream.
    """

    def __init__(
        self, asking: Asking, draw: Callable[..., str], stream: Callable[[Request, Frame, str, bool], Response]
    ) -> None:
        self._asking, self._draw, self._stream = asking, draw, stream

    def routes(self) -> list[Route]:
        """The routes, each behind the check of who may look."""
        paths = {NOW: self._now, STREAM: self._now_stream, WARMERS: self._warmers, METRICS: self._metrics,
                 DESCRIPTION: self._openapi}  # fmt: skip
        return [Route("/feeds", self._asking.looking(self._feeds), methods=["GET"]),
                *(Route(path, self._asking.reading(answer), methods=["GET"]) for path, answer in paths.items())]

    async def _now(self, request: Request) -> Response:
        found = self._asking.hold(asked_for(request))
        if found is None:
            return self._no_hold()
        shown = found[1].shown()
        return JSONResponse(feeds.as_json(shown, found[0], course=True)) if shown else JSONResponse(NO_REPORT, 503)

    async def _now_stream(self, request: Request) -> Response:
        found = self._asking.hold(asked_for(request))
        if found is None:
            return self._no_hold()
        latest = self._asking.follow(*found)

        def frame() -> tuple[object, dict[str, Any]] | None:
            shown = latest()
            return None if shown is None else (key_of(shown), feeds.as_json(shown, found[0], course=False))

        return self._stream(request, frame, found[1].key, True)

    def _no_hold(self) -> Response:
        """None is there, or it is not clear which one is meant."""
        names = list(self._asking.holds.all())
        if not names:
            return JSONResponse(NO_REPORT, 503)
        return JSONResponse({"error": "say which warmer, as in ?warmer=NAME", "warmers": names}, 404)

    async def _warmers(self, _: Request) -> Response:
        return JSONResponse({"warmers": list(self._asking.holds.all())})

    async def _metrics(self, _: Request) -> Response:
        shown = {name: hold.shown() for name, hold in self._asking.holds.all().items()}
        return PlainTextResponse(feeds.metrics(shown), headers={"content-type": feeds.METRICS_TYPE})

    async def _openapi(self, _: Request) -> Response:
        return JSONResponse(description())

    async def _feeds(self, request: Request) -> Response:
        """What programs may read, and for a paired phone the token that they need."""
        access = self._asking.access
        session = self._asking.session(request)
        token = access.feed_token if session and session.token and not access.open_to_look else ""
        return HTMLResponse(self._draw("feeds", "/feeds", address=f"http://{request.headers['host']}", token=token,
                                       paths={"now": NOW, "stream": STREAM, "metrics": METRICS, "all": DESCRIPTION},
                                       open_to_look=access.open_to_look))  # fmt: skip
