"""The first flash of a simulated warmer: tested, its latch cleared, its settings stored."""

from __future__ import annotations

import hashlib
from typing import Any

from bainboard import faults, framing, settings, store, wire
from bainwright.core.errors import FileError
from bainwright.files.rig import Rig

SIMULATED = "simulated"  # the drill's mark where none is needed: a simulated warmer endangers nobody
OPEN, PASSED = "open", "passed"  # the same setting of a real warmer


def document(what: str, values: dict[str, Any]) -> bytes:
    """A document as the board stores it: flat JSON, names in the table's order, so that its hash shows a change.

    Settings at their default are left out: the board's table has the defaults too, and each name in a document takes
    memory on the board while it is checked.

    Parameters
    ----------
    what : str
        ``settings`` or ``profile``.
    values : dict
        A value for each name in that table.

    Raises
    ------
    FileError
        If a value cannot be written in this form.
    """
    table = settings.PROFILE if what == "profile" else settings.SETTINGS
    usual = settings.defaults(table)
    names = [name for name in usual if what == "profile" or values[name] != usual[name]]
    try:
        return bytes(wire.text([(name, values[name]) for name in names]).encode())
    except ValueError as failed:
        raise FileError(f"the {what} cannot be sent", got=str(failed)) from failed


def short_hash(payload: bytes) -> str:
    """The mark of a stored document in a board's hello: the first 8 hex digits of its SHA-256."""
    return hashlib.sha256(payload).hexdigest()[:8]


def flash_of(rig: Rig) -> dict[str, bytes]:
    """The files of a board commissioned with this rig.

    They include a latch record: without one a board counts as tripped, and a simulated recessed button is out of reach.

    Parameters
    ----------
    rig : Rig
        The warmer, its probes named (`bainwright.virtual.probe_ids.name_probes`).

    Returns
    -------
    dict of str to bytes
        By absolute path, for `VirtualBoard`'s ``flash_files``.
    """
    values = {**rig.settings, "drill": SIMULATED}
    payloads = {"latch": store.latch_payload(faults.NONE, 0), "settings": document("settings", values)}
    return {f"/{name}.a": framing.pack(store.KINDS[name], 1, payload) for name, payload in payloads.items()}
