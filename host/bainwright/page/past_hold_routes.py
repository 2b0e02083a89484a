"""The routes of past holds: their list, one of them, several side by side, and files to download."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response, StreamingResponse
from starlette.routing import Route

from bainwright.core.errors import BainError
from bainwright.core.read_file import read_pieces
from bainwright.core.units import duration_words
from bainwright.display.picture import SVG
from bainwright.page.past_holds import (
    FILES,
    MOST_COMPARED,
    MOST_LISTED,
    PICTURES,
    Listed,
    PastHolds,
    Reviewed,
    files_of,
)
from bainwright.review import nights_picture, nights_words
from bainwright.review.night_words import sections
from bainwright.review.nights import compare

MOST_BYTES = 64 << 20  # of one file; a log of 48 h has 15 MB
# A picture's own styles are inline; nothing else in it may act, also when it is opened alone.
PICTURE_POLICY = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'"

Draw = Callable[..., str]
NOT_HERE = PlainTextResponse("There is no such hold here.\n", 404)


class PastHoldRoutes:
    """Answers about past holds.

    Parameters
    ----------
    draw : callable
        Makes a page from its template's name, its address and its values.
    """

    def __init__(self, draw: Draw) -> None:
        self._draw, self._past = draw, PastHolds()

    def routes(self, looking: Callable[[Any], Any]) -> list[Route]:
        """The routes, each behind the check of who may look."""
        return [
            Route("/holds", looking(self._list), methods=["GET"]),
            Route("/holds/side-by-side", looking(self._compare), methods=["GET"]),
            Route("/holds/side-by-side/{warmer:int}.svg", looking(self._overlaid), methods=["GET"]),
            Route("/holds/{key}", looking(self._one), methods=["GET"]),
            Route("/holds/{key}/{name}", looking(self._file), methods=["GET"]),
        ]

    async def _list(self, _: Request) -> Response:
        listed = await run_in_threadpool(self._past.listed)
        rows, more = [_row(each) for each in listed[:MOST_LISTED]], max(0, len(listed) - MOST_LISTED)
        return HTMLResponse(self._draw("past_holds", "/holds", rows=rows, more=more, most=MOST_COMPARED))

    async def _one(self, request: Request) -> Response:
        found = await self._find([request.path_params["key"]])
        if not found:
            return NOT_HERE
        reviewed = await run_in_threadpool(self._past.reviewed, found[0])
        files = await run_in_threadpool(files_of, found[0].entry)
        return HTMLResponse(self._draw(
            "past_hold", "/holds", row=_row(found[0]), notes=reviewed.notes,
            sections=sections(reviewed.night) if reviewed.night else [], files=files,
            chart=Markup(reviewed.chart),
            picture=next((name for name in PICTURES if name in files), ""),
        ))  # fmt: skip

    async def _compare(self, request: Request) -> Response:
        """Holds side by side; one alone is shown whole."""
        found = await self._ticked(request)
        if len(found) == 1:
            return RedirectResponse(f"/holds/{found[0].key}", 303)
        reviewed = await self._reviewed(found)
        nights = [each.night for each in reviewed if each.night is not None]
        left_out = ", ".join(each.entry.name for each in found[MOST_COMPARED:])
        notes = [f"{MOST_COMPARED} are shown; left out: {left_out}"] if left_out else []
        notes += [note for each in reviewed for note in each.notes]
        table = list(zip(*nights_words.table(nights), strict=True)) if nights else []  # narrow, for a phone
        compared = await run_in_threadpool(compare, nights)
        asked = urlencode([("of", each.key) for each in found[:MOST_COMPARED]])
        pictures = {f"/holds/side-by-side/{number}.svg?{asked}": nights_words.warmer(each)
                    for number, each in enumerate(compared)}
        return HTMLResponse(self._draw("side_by_side", "/holds", table=table, changes=nights_words.sections(compared),
                                       pictures=pictures, notes=notes))  # fmt: skip

    async def _overlaid(self, request: Request) -> Response:
        """The nights of one of the warmers in one picture, as `bain review` draws it."""
        reviewed = await self._reviewed(await self._ticked(request))
        compared = await run_in_threadpool(compare, [each.night for each in reviewed if each.night is not None])
        number = request.path_params["warmer"]
        if not number < len(compared):
            return NOT_HERE
        drawn = await run_in_threadpool(nights_picture.svg, compared[number])
        return Response(drawn, headers={"content-security-policy": PICTURE_POLICY}, media_type=FILES[SVG])

    async def _ticked(self, request: Request) -> list[Listed]:
        return await self._find(request.query_params.getlist("of")[:MOST_LISTED])

    async def _reviewed(self, found: list[Listed]) -> list[Reviewed]:
        return [await run_in_threadpool(self._past.reviewed, each) for each in found[:MOST_COMPARED]]

    async def _file(self, request: Request) -> Response:
        name = request.path_params["name"]
        found = await self._find([request.path_params["key"]])
        if not found or name not in FILES:
            return NOT_HERE
        try:
            path = Path(found[0].entry.folder) / name
            content = await run_in_threadpool(read_pieces, path, limit=MOST_BYTES, follow=False)
        except BainError:
            return NOT_HERE
        if name in PICTURES:
            return StreamingResponse(content, headers={"content-security-policy": PICTURE_POLICY},
                                     media_type=FILES[name])  # fmt: skip
        saved = f"{_plain(found[0].entry.name)}.{name}"
        return StreamingResponse(content, headers={"content-disposition": f'attachment; filename="{saved}"'},
                                 media_type=FILES[name])  # fmt: skip

    async def _find(self, keys: list[str]) -> list[Listed]:
        return await run_in_threadpool(self._past.find, keys)


def _plain(name: str) -> str:
    """A name with only letters that every system and every header takes."""
    return "".join(letter if letter.isascii() and (letter.isalnum() or letter in "-_") else "_" for letter in name)[:60]


def _row(listed: Listed) -> dict[str, Any]:
    """A hold as the list shows it."""
    entry = listed.entry
    unended = "no end yet" if listed.runs else "no recorded end"
    return {
        "key": listed.key,
        "name": entry.name,
        "when": entry.started.strftime("%a %d %b %Y, %H:%M") if entry.started else "at an unknown time",
        "long": duration_words(entry.duration_s) if entry.duration_s is not None else unended,
        "chocolate": entry.chocolate or "?",
        "verdict": "still runs" if listed.runs else entry.verdict,
        "warmer": entry.warmer,
        "virtual": entry.virtual,
        "summary": entry.summary,
    }
