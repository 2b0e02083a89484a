"""What the system says when it refuses a file, in words."""

from __future__ import annotations

import errno

FULL = (errno.ENOSPC, errno.EDQUOT)


def reason(failed: OSError) -> str:
    """The system's words for what failed, without its number."""
    return "the disk is full" if failed.errno in FULL else (failed.strerror or str(failed)).lower()
