"""Who asks: the session behind a request, and which hold it is about. Shared by all routes."""

from __future__ import annotations

import time
from collections.abc import Awaitable, Callable
from urllib.parse import parse_qs, quote

from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from bainwright.live.latest import Shown
from bainwright.page.access import Access, Session
from bainwright.page.holds import Hold, Holds
from bainwright.page.stream import GoneError

NO_TOKEN = {"error": "each request needs the line 'Authorization: Bearer TOKEN'; a paired phone shows the token under "
            "“For other programs”"}  # fmt: skip
Answer = Callable[[Request], Awaitable[Response]]


class Asking:
    """Judges requests.

    Parameters
    ----------
    access : Access
        Who may look and act.
    holds : Holds
        The holds that there are.
    """

    def __init__(self, access: Access, holds: Holds) -> None:
        self.access, self.holds = access, holds

    def looking(self, answer: Answer) -> Answer:
        """Let only those in who may look; the others learn how to pair."""

        async def checked(request: Request) -> Response:
            if not self.access.may_look(self.session(request), _bearer(request.headers)):
                return RedirectResponse("/in", 303)
            return await answer(request)

        return checked

    def reading(self, answer: Answer) -> Answer:
        """Let only those programs in that may look; the others get the status that they understand (RFC 6750, 3)."""

        async def checked(request: Request) -> Response:
            if not self.access.may_look(self.session(request), _bearer(request.headers)):
                return JSONResponse(NO_TOKEN, 401, {"www-authenticate": "Bearer"})
            return await answer(request)

        return checked

    def session(self, request: Request) -> Session | None:
        """The session of the request's cookie."""
        return self.access.session(request.cookies.get(cookie_name(request)), time.monotonic())

    def was_paired(self, request: Request) -> bool:
        """Does it have the cookie of a session that has ended?"""
        return cookie_name(request) in request.cookies and self.session(request) is None

    def hold(self, warmer: str | None) -> tuple[str, Hold] | None:
        """The hold on the warmer of this name, or the only one; None where it is not clear, or none is there."""
        found = self.holds.all()
        if warmer is None and len(found) == 1:
            return next(iter(found.items()))
        hold = None if warmer is None else self.holds.named(warmer)
        return None if warmer is None or hold is None else (warmer, hold)

    def follow(self, name: str, hold: Hold) -> Callable[[], Shown | None]:
        """Gives a hold's latest moment; raises `GoneError` once its name means another hold, or none."""

        def latest() -> Shown | None:
            if self.holds.named(name) is not hold:
                raise GoneError
            return hold.shown()

        return latest


def asked_for(request: Request) -> str | None:
    """The warmer that a request names."""
    return request.query_params.get("warmer")


def address_of(warmer: str, path: str = "/") -> str:
    """The page of a warmer, or another path about it."""
    return f"{path}?warmer={quote(warmer, safe='')}"


def form_of(body: bytes) -> dict[str, str]:
    """The fields of a form; what is no form has none."""
    try:
        found = parse_qs(body.decode("ascii"), max_num_fields=8)
    except (UnicodeDecodeError, ValueError):
        return {}
    return {name: values[0] for name, values in found.items()}


def cookie_name(request: Request) -> str:
    """The cookie's name: browsers share cookies among the ports of a host, and each page has a port."""
    return f"bain-{request.url.port or 80}"


def _bearer(headers: Headers) -> str | None:
    kind, _, token = headers.get("authorization", "").partition(" ")
    return token if kind.lower() == "bearer" else None

