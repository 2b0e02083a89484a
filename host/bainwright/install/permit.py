"""A board that gets another firmware loses its permit for nights: its drill was of the one before."""

from __future__ import annotations

from typing import Any

from bainwright.core.errors import LinkError, RefusedError
from bainwright.files.documents import OPEN, PASSED, document
from bainwright.link.session import linked

LOST = ("its drill was of the firmware before: bain drill does again what depends on it, and until then overnight "
        "holds are refused")  # fmt: skip

LOOKED_IN_S = 10.0  # chosen: another program that only looks who is there has left the port by then


def take_back(port: str, hello: dict[str, Any]) -> bool:
    """Keep the board's own buttons from starting a night, however the install ends; returns whether it had a permit.

    Parameters
    ----------
    port : str
        The board's.
    hello : dict
        Its answer to hello.
    """
    return _change(port, hello, PASSED, OPEN)


def settle(port: str, before: dict[str, Any], now: dict[str, Any]) -> list[str]:
    """Give the permit back to a board that runs what it ran before; otherwise returns what to tell the person.

    Parameters
    ----------
    port : str
        The board's.
    before, now : dict
        Its answers to hello.
    """
    if before.get("version") != now.get("version"):
        return [LOST]
    _change(port, now, OPEN, PASSED)
    return []


def _change(port: str, hello: dict[str, Any], here: str, there: str) -> bool:
    """Change the setting if it has this value. A board that refuses gets it at its next start."""
    try:
        with linked(port, LOOKED_IN_S) as link:
            values = link.settings(hello)
            if values["drill"] == here:
                link.upload("settings", document("settings", {**values, "drill": there}))
                return True
    except (LinkError, RefusedError):
        pass
    return False
