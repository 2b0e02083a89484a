"""In front of every request: is it for us, from a page of ours, and small enough? And headers on every answer."""

from __future__ import annotations

import asyncio

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from bainwright.page.access import Access
from bainwright.page.refused import REFUSED_AS, Refused

MOST_BODY_BYTES = 4096  # chosen: an act has 100
BODY_S = 5.0  # a phone sends its hundred bytes at once
METHODS = ("GET", "HEAD", "POST")
HEADERS = {
    "content-security-policy": (
        "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; connect-src 'self'; "
        "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "referrer-policy": "same-origin",  # with no-referrer a browser sends Origin: null, and every act would be refused
    "x-content-type-options": "nosniff",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}


class Guard:
    """Refuses what no page of ours sends, before any of it is read.

    Parameters
    ----------
    app : ASGI application
        Gets the requests that pass, each with its whole body.
    access : Access
        Knows our names.
    refused : Refused
        Records what was refused, by the guard or behind it.
    """

    def __init__(self, app: ASGIApp, access: Access, refused: Refused) -> None:
        self._app, self._access, self._refused = app, access, refused
        self._writes: asyncio.TimerHandle | None = None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                self._note((scope.get("client") or ("?",))[0], scope.get(REFUSED_AS, message["status"]))
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        refusal = self._refusal(scope)
        if refusal is None and scope["method"] == "POST":
            body = await _body(receive)
            if body is None:
                refusal = PlainTextResponse("That is too long, or came too slowly.\n", 413, {"connection": "close"})
            else:
                receive = _once(body, receive)
        await (refusal or self._app)(scope, receive, send_with_headers)

    def _note(self, address: str, status: int) -> None:
        """Count what is refused, and see that it is written down although nobody asks again."""
        self._refused.note(address, status)
        if self._writes is None and (due_in_s := self._refused.due_in_s) is not None:
            self._writes = asyncio.get_running_loop().call_later(due_in_s, self._write)

    def _write(self) -> None:
        self._writes = None
        self._refused.flush()

    def _refusal(self, scope: Scope) -> PlainTextResponse | None:
        headers, method = Headers(scope=scope), scope["method"]
        host, origin, site = headers.get("host"), headers.get("origin"), headers.get("sec-fetch-site")
        if not self._access.is_ours(host) or len(headers.getlist("host")) != 1:
            return PlainTextResponse("This page answers only to the address that the PC shows.\n", 421)
        if method not in METHODS:
            return PlainTextResponse("No page of ours asks for that.\n", 405, {"allow": ", ".join(METHODS)})
        if method == "POST":
            if not self._access.from_our_page(str(host), origin, site):
                return PlainTextResponse("Only the page itself may act.\n", 403)
        elif self._access.from_elsewhere(str(host), origin, site, headers.get("sec-fetch-mode")):
            return PlainTextResponse("Another page may not read this one.\n", 403)
        return None


async def _body(receive: Receive) -> bytes | None:
    """The whole body; None where it is too long, too slow or broken off."""
    body = b""
    try:
        async with asyncio.timeout(BODY_S):
            while True:
                message = await receive()
                if message["type"] != "http.request":
                    return None
                body += bytes(message.get("body", b""))
                if len(body) > MOST_BODY_BYTES:
                    return None
                if not message.get("more_body"):
                    return body
    except TimeoutError:
        return None


def _once(body: bytes, receive: Receive) -> Receive:
    """Hands over a body that was read already, then whatever the client still says."""
    waiting = [body]

    async def read() -> Message:
        if waiting:
            return {"type": "http.request", "body": waiting.pop(), "more_body": False}
        return await receive()

    return read
