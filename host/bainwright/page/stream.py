"""The live stream to one phone: server-sent events, the latest moment whenever the phone is ready for it.

Each has the server's clock as its id, so that a phone can say by that clock when its button was pressed.
"""

from __future__ import annotations

import asyncio
import json
import secrets
from collections.abc import Callable
from typing import Any

from starlette.responses import Response
from starlette.types import Receive, Scope, Send

MOST_STREAMS = 64  # chosen: more phones than a kitchen has
MOST_LOOKING = 56  # of them for those who only look, so that a phone that acts finds room
LOOK_S = 0.25  # how often a stream looks for a new moment
SILENCE_S = 1.0  # a stream shows at least this often that it lives
SEND_S = 15.0  # chosen: a phone that takes nothing for so long sleeps; it comes back by itself
LIVES_S = 3600.0  # chosen: then it is closed, and the browser connects again
RETRY_MS = 2000

Frame = Callable[[], tuple[object, dict[str, Any]] | None]  # the latest frame, and what tells it from others


class GoneError(Exception):
    """Raised by a `Frame`: what the stream is about is not there any more, so it ends."""


class Streams:
    """Counts the streams of a server, and ends them with it."""

    def __init__(self) -> None:
        self.open = 0
        self.closing = False
        self.server = secrets.token_hex(4)  # after a restart it is another one, and sessions have ended


class EventStream:
    """One stream, as an ASGI response. It holds no queue: what a slow phone did not take, it misses.

    Parameters
    ----------
    frame : callable
        Gives the latest frame: its key, and parts to show by name; None before the first.
    streams : Streams
        The server's count.
    of : str
        What the stream is about; a page that hears another one loads itself again.
    whole : bool
        Send every part each time, not only those that changed.
    """

    def __init__(self, frame: Frame, streams: Streams, of: str, *, whole: bool = False) -> None:
        self._frame, self._streams, self._of, self._whole = frame, streams, of, whole

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["method"] == "HEAD":  # who asks for the head alone waits for its end
            await Response(media_type="text/event-stream")(scope, receive, send)
            return
        self._streams.open += 1
        gone = asyncio.create_task(_until_gone(receive))
        try:
            headers = [(b"content-type", b"text/event-stream; charset=utf-8")]
            await send({"type": "http.response.start", "status": 200, "headers": headers})
            await self._send_frames(send, gone)
        except TimeoutError:
            pass
        finally:
            gone.cancel()
            self._streams.open -= 1

    async def _send_frames(self, send: Send, gone: asyncio.Task[None]) -> None:
        loop = asyncio.get_running_loop()
        ends_s, said_s, sent = loop.time() + LIVES_S, -1e9, dict[str, Any]()
        shown: object = None
        await _send(send, f"retry: {RETRY_MS}\n\n")
        if not self._whole:
            at_s = loop.time()
            await _send(send, f"id: {at_s:.1f}\nevent: server\ndata: {self._streams.server}-{self._of}\n\n")
        while not gone.done() and not self._streams.closing and loop.time() < ends_s:
            try:
                latest = self._frame()
            except GoneError:
                break
            if latest is not None and latest[0] != shown:
                shown, parts = latest
                changed = {name: part for name, part in parts.items() if self._whole or sent.get(name) != part}
                sent, said_s = parts, loop.time()
                await _send(send, f"id: {said_s:.1f}\nevent: now\ndata: {json.dumps(changed)}\n\n")
            elif loop.time() - said_s >= SILENCE_S:
                said_s = loop.time()
                await _send(send, f"id: {said_s:.1f}\nevent: alive\ndata:\n\n")
            await asyncio.sleep(LOOK_S)
        async with asyncio.timeout(SEND_S):
            await send({"type": "http.response.body", "body": b"", "more_body": False})


async def _send(send: Send, text: str) -> None:
    async with asyncio.timeout(SEND_S):
        await send({"type": "http.response.body", "body": text.encode(), "more_body": True})


async def _until_gone(receive: Receive) -> None:
    while (await receive())["type"] != "http.disconnect":
        pass
