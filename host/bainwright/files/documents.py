"""What a simulated warmer has on its flash at first: tested, its latch cleared, its settings stored."""

from __future__ import annotations

import hashlib
from typing import Any

from bainboard import faults, framing, settings, store, wire
from bainwright.core.errors import FileError
from bainwright.files.rig import Rig

SIMULATED = "simulated"  # the drill's mark where none is needed: a simulated warmer endangers nobody


def document(what: str, values: dict[str, Any]) -> bytes:
    """A document as the board stores it: flat JSON, names in the table's order, so that its hash shows a change.

    Of the settings only those that are not as usual: the board's table has the usual ones too, and what takes a board's
    memory while a document is checked is each name in it.

    Parameters
    ----------
    what : str
        ``settings`` or ``profile``.
    values : dict
        A value for each name of that table.

    Raises
    ------
    FileError
        If it cannot be written so.
    """
    table = settings.PROFILE if what == "profile" else settings.SETTINGS
    usual = settings.defaults(table)
    names = [name for name in usual if what == "profile" or values[name] != usual[name]]
    try:
        return bytes(wire.text([(name, values[name]) for name in names]).encode())
    except ValueError as failed:
        raise FileError(f"the {what} cannot be sent", got=str(failed)) from failed


def short_hash(payload: bytes) -> str:
    """What a board's hello says of a stored document: the first 8 hex digits of its SHA-256."""
    return hashlib.sha256(payload).hexdigest()[:8]


def flash_of(rig: Rig) -> dict[str, bytes]:
    """Files of a board that someone commissioned with this rig.

    A board without a latch record counts as tripped, and its recessed button is out of reach on a simulated one.

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
