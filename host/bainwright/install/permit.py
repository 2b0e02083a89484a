"""A board that gets another firmware loses its permit for nights: its drill was of the one before."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bainwright.core.errors import LinkError, RefusedError
from bainwright.files.documents import OPEN, PASSED, document
from bainwright.link.session import linked

LOST = ("its drill was of the firmware before: bain drill does again what depends on it, and until then overnight "
        "holds are refused")  # fmt: skip


def take_back(port: str, before: Mapping[str, Any] | None, now: dict[str, Any] | None) -> list[str]:
    """Have the board's own buttons start no night by a drill of another firmware.

    Parameters
    ----------
    port : str
        The board's.
    before, now : mapping or None
        Its answers to hello.

    Returns
    -------
    list of str
        What to tell.
    """
    if before is None or now is None or before.get("version") == now.get("version"):
        return []
    try:
        with linked(port) as link:
            values = link.settings(now)
            if values["drill"] != PASSED:
                return []
            link.upload("settings", document("settings", {**values, "drill": OPEN}))
    except (LinkError, RefusedError) as failed:
        return [f"its buttons may start a night by the drill of the firmware before: {failed}"]
    return [LOST]
