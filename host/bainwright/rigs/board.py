"""A rig on its board: sent, read back and compared."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from bainboard import settings
from bainwright.core.errors import RefusedError
from bainwright.files.documents import document
from bainwright.files.rig import Rig
from bainwright.link.protocol import Link, settings_damaged

WHOLE_BYTES = 24  # of a name on the wire; chosen: the line has room for more


def refuse_another(hello: Mapping[str, Any], rig: Rig) -> None:
    """Refuse a board that is set up as another warmer: its settings, and its calibration, would be overwritten.

    Parameters
    ----------
    hello : mapping
        The board's answer to hello; it cuts a name that is too long for the line.
    rig : Rig
        What is to be sent along.

    Raises
    ------
    RefusedError
        If its settings are another warmer's.
    """
    name, wanted = str(hello.get("name", "")), str(rig.settings["name"])
    cut = len(json.dumps(wanted)) > WHOLE_BYTES and wanted.startswith(name)
    if hello.get("settings") and name != wanted and not cut:
        raise RefusedError(f"this board is set up as the warmer {name!r}", got=f"the rig of {wanted!r}",
                           hint=f"look which warmer is plugged in; bain rig send {rig.source} makes this one it")


def send(link: Link, rig: Rig) -> list[str]:
    """Send a rig and read it back; the names of the settings that changed.

    Raises
    ------
    RefusedError
        When the board refuses it, or gives back something else.
    """
    hello = link.hello()
    before = settings.defaults(settings.SETTINGS) if settings_damaged(hello) else link.settings(hello)
    payload = document("settings", dict(rig.settings))
    link.upload("settings", payload)
    if link.download("settings") != payload:
        raise RefusedError("the board gave back another rig than was sent", hint="send it again")
    return [name for name, value in rig.settings.items() if value != before[name]]


def read(link: Link) -> dict[str, Any]:
    """The settings a board works with; one that was never sent any works with the defaults.

    Raises
    ------
    RefusedError
        When its settings are damaged.
    """
    return {name: value for name, value in link.settings(link.hello()).items() if name in _NAMES}


_NAMES = {str(row[settings.NAME]) for row in settings.SETTINGS}
