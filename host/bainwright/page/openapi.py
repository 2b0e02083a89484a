"""The feeds as an OpenAPI 3.1 description (spec.openapis.org), made from the types that they are written from."""

from __future__ import annotations

from typing import Any

import msgspec

from bainwright import __version__
from bainwright.live.feeds import COURSE, METRICS_TYPE
from bainwright.live.now import Now

NOW, STREAM, WARMERS, METRICS, DESCRIPTION = (
    "/api/now", "/api/now/stream", "/api/warmers", "/metrics", "/api/openapi.json")  # scrapers look for /metrics
WARMER = {"name": "warmer", "in": "query", "schema": {"type": "string"},
          "description": "Which warmer; needed where several hold."}  # fmt: skip
# What `feeds.as_json` adds to the moment.
ADDED = {"power_w": {"type": "number"}, "left_s": {"type": ["number", "null"]}, "age_s": {"type": "number"},
         "stale": {"type": "boolean"}}  # fmt: skip
NAMES = {"type": "array", "items": {"type": "string"}}
WARMERS_OBJECT = {"type": "object", "properties": {"warmers": NAMES}, "required": ["warmers"]}
ERROR = {"type": "object", "properties": {"error": {"type": "string"}, "warmers": NAMES}, "required": ["error"]}
NO_TOKEN, NO_REPORT = {"401": "The token is missing or wrong."}, {"503": "No hold has reported yet."}
WHICH = {"404": "It is not clear which warmer is meant; the names are in `warmers`."}


def description() -> dict[str, Any]:
    """The whole description."""
    (_, parts) = msgspec.json.schema_components([Now], ref_template="#/components/schemas/{name}")
    moment = parts["Now"]
    moment["properties"] |= ADDED
    moment["required"] += list(ADDED)
    # A moment of the stream is without the history.
    fields = {name: kind for name, kind in moment["properties"].items() if name not in COURSE}
    parts["Moment"] = {**moment, "properties": fields, "required": [*fields]}
    parts |= {"Warmers": WARMERS_OBJECT, "Error": ERROR}
    return {
        "openapi": "3.1.0",
        "info": {"title": "bainwright", "version": __version__,
                 "description": "Holds that run, for other programs. Nothing can be commanded here."},
        "paths": {
            NOW: _get("A moment and the history up to it.", {"application/json": _schema("Now")}, WARMER,
                      NO_TOKEN | WHICH | NO_REPORT),
            STREAM: _get("Server-sent events: `now` has a moment without the history, as JSON; `alive` has nothing.",
                         {"text/event-stream": {"schema": {"type": "string"}}}, WARMER,
                         NO_TOKEN | WHICH | {"503": "No hold has reported yet, or there are too many streams."}),
            WARMERS: _get("The names of the warmers.", {"application/json": _schema("Warmers")}, others=NO_TOKEN),
            METRICS: _get("All warmers as OpenMetrics text.", {METRICS_TYPE: {"schema": {"type": "string"}}},
                          others=NO_TOKEN),
        },
        "components": {"schemas": parts, "securitySchemes": {"token": {"type": "http", "scheme": "bearer"}}},
        "security": [{}, {"token": []}],
    }  # fmt: skip


def _schema(name: str) -> dict[str, Any]:
    return {"schema": {"$ref": f"#/components/schemas/{name}"}}


def _get(
    summary: str, content: dict[str, Any], parameter: dict[str, Any] | None = None, others: dict[str, str] | None = None
) -> dict[str, Any]:
    answers: dict[str, Any] = {"200": {"description": summary, "content": content}}
    answers |= {status: {"description": words, "content": {"application/json": _schema("Error")}}
                for status, words in (others or {}).items()}  # fmt: skip
    return {"get": {"summary": summary, "parameters": [parameter] if parameter else [], "responses": answers}}
