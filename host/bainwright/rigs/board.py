"""A rig on its board: sent, read back and compared."""

from __future__ import annotations

from typing import Any

from bainboard import settings
from bainwright.core.errors import RefusedError
from bainwright.files.documents import document
from bainwright.files.rig import Rig
from bainwright.link.protocol import Link, settings_damaged


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
