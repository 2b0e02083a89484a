"""The simulated warmer's true temperatures, once a simulated second from `arm` on."""

from __future__ import annotations

import struct
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

if TYPE_CHECKING:
    import numpy as np

COLUMNS = ("t_ms", "water_c", "bowl_c", "wall_c", "power_w")
_ROW = struct.Struct(f"<{len(COLUMNS)}d")


class TruthFile:
    """Appends rows of little-endian doubles, in the order of `COLUMNS`."""

    def __init__(self, path: Path) -> None:
        self._file: BinaryIO = path.open("wb")

    def append(self, row: Iterable[float]) -> None:
        """Add a row."""
        self._file.write(_ROW.pack(*row))

    def flush(self) -> None:
        """Make the appended rows visible to readers."""
        self._file.flush()

    def close(self) -> None:
        """Finish the file."""
        self._file.close()


def read_truth(path: Path) -> np.ndarray[Any, Any]:
    """Read a file of true temperatures.

    Parameters
    ----------
    path : Path
        The file that a virtual board wrote (`truth`).

    Returns
    -------
    numpy.ndarray
        Structured, shape (rows,), fields ``t_ms`` (ms since `arm`), ``water_c``, ``bowl_c``, ``wall_c`` (°C, NaN where
        unknown) and ``power_w`` (mean W of the second). An incomplete last row is left out.
    """
    import numpy as np

    data = path.read_bytes()
    dtype = np.dtype([(name, "<f8") for name in COLUMNS])
    return np.frombuffer(data[: len(data) // _ROW.size * _ROW.size], dtype=dtype)
