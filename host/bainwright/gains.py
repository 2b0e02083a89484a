"""A gains file: TOML with the `gains.*` settings and nothing else, checked by the firmware's own table."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from bainboard import settings
from bainwright.errors import FileError
from bainwright.rig import flatten
from bainwright.tables import close_match, read_toml

PREFIX = "gains."
NAMES = tuple(name for name in (str(row[settings.NAME]) for row in settings.SETTINGS) if name.startswith(PREFIX))


def load_gains(path: Path) -> dict[str, Any]:
    """Read a gains file.

    Parameters
    ----------
    path : Path
        TOML: ``[water]`` and ``[bowl]`` with kp, ti_s, td_s and weight, beside loss_w_per_k and the like; with or
        without ``gains`` in front.

    Returns
    -------
    dict
        Values by their full setting names, only those the file gives.

    Raises
    ------
    FileError
        If it cannot be read, names what is no gain, or a value is out of its range.
    """
    where = f"gains file {path}"
    given = {PREFIX + name.removeprefix(PREFIX): value for name, value in flatten(read_toml(path, "gains"))}
    if not given:
        raise FileError(f"{where} is empty", wanted="at least one of " + ", ".join(_short(name) for name in NAMES))
    for name in given:
        if name not in NAMES:
            near = close_match(name, NAMES)
            raise FileError(f"{where}: no gain is called {_short(name)}", hint=near and near.replace(PREFIX, ""))
    values, why = settings.check(settings.SETTINGS, given)
    if why:
        raise FileError(f"{where}: {why}")
    return {name: values[name] for name in given}


def _short(name: str) -> str:
    return name.removeprefix(PREFIX)
