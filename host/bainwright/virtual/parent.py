"""The simulator ends with the process that started it, however that ends."""

from __future__ import annotations

import os
import signal
from typing import Any

PARENT_S = 1.0  # real time between checks


def end_with_parent() -> None:
    """End when the process that started us ends, even while a plant computes; the interpreter ends with us."""
    parent = os.getppid()

    def look(*_: Any) -> None:
        if os.getppid() != parent:
            os._exit(1)

    signal.signal(signal.SIGALRM, look)
    signal.setitimer(signal.ITIMER_REAL, PARENT_S, PARENT_S)
