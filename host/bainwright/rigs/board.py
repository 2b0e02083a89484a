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

CORRECTIONS = tuple(str(row[settings.NAME]) for row in settings.SETTINGS
                    if str(row[settings.NAME]).endswith(("offset_c", ".gain")))  # what bain calibrate measures
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


def refuse_lost_corrections(before: Mapping[str, Any], rig: Rig) -> None:
    """Refuse to replace what a calibration found, and stored in the warmer, by a file's figures: degrees of the bowl.

    Parameters
    ----------
    before : mapping
        The warmer's settings now.
    rig : Rig
        What is to be sent along.

    Raises
    ------
    RefusedError
        If a correction of the warmer is not the file's.
    """
    plain = settings.defaults(settings.SETTINGS)
    other = [name for name in CORRECTIONS if before[name] not in (plain[name], rig.settings[name])]
    if other:
        here, there = (", ".join(f"{name} {values[name]:g}" for name in other) for values in (before, rig.settings))
        raise RefusedError(f"the warmer has another calibration than {rig.source}", got=f"in the warmer {here}",
                           wanted=f"as in the file {there}",
                           hint=f"bain rig get --out FILE keeps the warmer's; bain rig send {rig.source} replaces it")


def changes(before: Mapping[str, Any], rig: Rig) -> list[str]:
    """The names of the settings that a rig changes."""
    return [name for name, value in rig.settings.items() if value != before[name]]


def _changed_when_set_up(hello: Mapping[str, Any], before: Mapping[str, Any], rig: Rig) -> list[str]:
    """The same of a warmer that has settings; its permit for nights comes from its drill, and from no file."""
    return [name for name in changes(before, rig) if name != "drill"] if hello.get("settings") else []


def changed_words(hello: Mapping[str, Any], before: Mapping[str, Any], rig: Rig) -> list[str]:
    """What a rig file changes on a warmer that is set up, as a note; nothing where it changes nothing."""
    names = _changed_when_set_up(hello, before, rig)
    return [f"{rig.source} changes settings of the warmer: {', '.join(names)}"] if names else []


def differences(hello: Mapping[str, Any], there: Mapping[str, Any], rig: Rig) -> list[str]:
    """Each setting of a warmer that is set up and is not as a rig has it, with both values."""
    return [f"{name}: {_shown(rig.settings[name])} in the file, {_shown(there[name])} in the warmer"
            for name in _changed_when_set_up(hello, there, rig)]


def _shown(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else json.dumps(value, ensure_ascii=False)


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
        raise RefusedError("the board sent back another rig than it got", hint="send it again")
    return changes(before, rig)


def read(link: Link) -> dict[str, Any]:
    """The settings a board works with; one that was never sent any works with the defaults.

    Raises
    ------
    RefusedError
        When its settings are damaged.
    """
    return {name: value for name, value in link.settings(link.hello()).items() if name in _NAMES}


_NAMES = {str(row[settings.NAME]) for row in settings.SETTINGS}
