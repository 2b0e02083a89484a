"""The feeds as an OpenAPI 3.1 description (spec.openapis.org), made from the types that they are written from."""

from __future__ import annotations

from typing import Any

import msgspec

from bainwright import __version__
from bainwright.live.feeds import METRICS_TYPE
from bainwright.live.now import Now

WARMER = {"name": "warmer", "in": "query", "schema": {"type": "string"},
          "description": "Which warmer; needed where several hold."}  # fmt: skip
# What `feeds.as_json` adds to the moment.
ADDED = {"power_w": {"type": "number"}, "left_s": {"type": ["number", "null"]}, "age_s": {"type": "number"},
         "stale": {"type": "boolean"}}  # fmt: skip
NAMES = {"type": "object", "properties": {"warmers": {"type": "array", "items": {"type": "string"}}}}


def description() -> dict[str, Any]:
    """The whole description."""
    (_, parts) = msgspec.json.schema_components([Now], ref_template="#/components/schemas/{name}")
    moment = parts["Now"]
    moment["properties"] |= ADDED
    moment["required"] += list(ADDED)
    now = {"$ref": "#/components/schemas/Now"}
    return {
        "openapi": "3.1.0",
        "info": {"title": "bainwright", "version": __version__,
                 "description": "Holds that run, for other programs. Nothing can be commanded here."},
        "paths": {
            "/now.json": _get("A moment and the history up to it.", {"application/json": {"schema": now}}, WARMER,
                              {"404": "It is not clear which warmer is meant.", "503": "No report yet."}),
            "/now.stream": _get("Moments as server-sent events, without the history.", {"text/event-stream": {}},
                                WARMER, {"404": "It is not clear which warmer is meant.", "503": "Too many streams."}),
            "/warmers.json": _get("The names of the warmers.", {"application/json": {"schema": NAMES}}),
            "/metrics": _get("All warmers as OpenMetrics text.", {METRICS_TYPE: {}}),
        },
        "components": {"schemas": parts, "securitySchemes": {"token": {"type": "http", "scheme": "bearer"}}},
        "security": [{}, {"token": []}],
    }  # fmt: skip


def _get(
    summary: str, content: dict[str, Any], parameter: dict[str, Any] | None = None, others: dict[str, str] | None = None
) -> dict[str, Any]:
    answers: dict[str, Any] = {"200": {"description": summary, "content": content}}
    answers |= {status: {"description": words} for status, words in (others or {}).items()}
    return {"get": {"summary": summary, "parameters": [parameter] if parameter else [], "responses": answers}}
