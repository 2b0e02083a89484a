"""A rig on its board: sent, read back and compared."""

from __future__ import annotations

import json
from typing import Any

from bainboard import settings
from bainwright.commissioned import document
from bainwright.errors import RefusedError
from bainwright.link import Link
from bainwright.rig import Rig


def send(link: Link, rig: Rig) -> list[str]:
    """Send a rig and read it back; the names of the settings that are other than before.

    Raises
    ------
    RefusedError
        When the board will not take it, or gives back another.
    """
    before = read(link)
    payload = document("settings", dict(rig.settings))
    link.upload("settings", payload)
    if link.download("settings") != payload:
        raise RefusedError("the rig came back otherwise than it was sent", hint="send it again")
    return [name for name, value in rig.settings.items() if value != before[name]]


def read(link: Link) -> dict[str, Any]:
    """The settings a board works with; one that was never sent any works with the defaults."""
    values: dict[str, Any] = settings.defaults(settings.SETTINGS)
    if link.hello().get("settings"):
        values.update(json.loads(link.download("settings")))
    return {name: value for name, value in values.items() if name in _NAMES}


_NAMES = {str(row[settings.NAME]) for row in settings.SETTINGS}
