"""What the system says when it refuses a file, in words."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable

from bainwright.core.errors import BainError, FileError, FullDiskError

FULL = (errno.ENOSPC, errno.EDQUOT)


def reason(failed: OSError) -> str:
    """The system's words for what failed, without its number."""
    return "the disk is full" if failed.errno in FULL else (failed.strerror or str(failed)).lower()


def file_error(what: str, failed: OSError, hint: str | None = None) -> FileError:
    """What the system refused, as an error a person can read.

    Parameters
    ----------
    what : str
        The file and what could not be done with it: "the gains file x.toml cannot be written".
    failed : OSError
        The system's refusal.
    hint : str, optional
        What to do next; a full disk has a hint of its own.
    """
    if failed.errno in FULL:
        return FullDiskError(f"{what}: {reason(failed)}", hint="make room, then run it again")
    return FileError(f"{what}: {reason(failed)}", hint=hint)


def quoted_error(what: str, failed: Exception, hint: str | None = None) -> FileError:
    """The same from a library that only quotes the system, among words of its own."""
    numbers = (*FULL, errno.EACCES, errno.EROFS)
    number = next((number for number in numbers if os.strerror(number) in str(failed)), None)
    if number is None:
        return FileError(what, got=str(failed).partition("\n")[0], hint=hint)
    return file_error(what, OSError(number, os.strerror(number)), hint)


def refusal(work: Callable[[], object]) -> str | None:
    """Do something whose failure must not end the program; returns None, or why it failed, in words."""
    try:
        work()
    except BainError as failed:
        return str(failed)
    except OSError as failed:
        return reason(failed)
    except (MemoryError, ImportError) as failed:
        return no_memory(failed)
    return None


def no_memory(failed: MemoryError | ImportError) -> str:
    """Why work ended, if memory ran out, in words; a library that finds no memory fails as an import."""
    return f"this PC has no memory for it ({failed or 'out of memory'})"
