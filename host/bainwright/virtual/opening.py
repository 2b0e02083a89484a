"""The board a command works with: on a port, or virtual. Every command opens its board here and nowhere else."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from bainwright.core.errors import UseError
from bainwright.files.rig import DEFAULT_RIG, load_rig
from bainwright.link.session import LiveSession, Session

if TYPE_CHECKING:
    from bainwright.virtual.session import Simulated


@contextmanager
def open_board(port: str | None, simulated: Simulated | None = None) -> Iterator[Session]:
    """A board, closed again at the end.

    Parameters
    ----------
    port : str, optional
        Its serial port; None finds the only board that is plugged in.
    simulated : Simulated, optional
        A virtual board to make instead. Its clock does not run yet.

    Raises
    ------
    LinkError, UseError
        If there is no board, its port does not open, or several could be meant.
    """
    session = LiveSession(port) if simulated is None else _virtual(simulated)
    try:
        yield session
    finally:
        session.close()


@contextmanager
def open_stored(port: str | None, image: str | None) -> Iterator[Session]:
    """The board on a port, or a virtual one whose flash is an image file; only its flash is used, so no time passes.

    Parameters
    ----------
    port : str, optional
        As in `open_board`.
    image : str, optional
        The image that ``bain hold --virtual --image FILE`` saved.

    Raises
    ------
    UseError
        If both are given, or there is no such image.
    LinkError
        As in `open_board`.
    """
    refuse_two_warmers(virtual=image, port=port)
    if image is None:
        with open_board(port) as session:
            yield session
        return
    if not Path(image).is_file():
        raise UseError(f"there is no image {image}", hint="bain hold --virtual --image FILE makes one")
    from bainwright.virtual.session import Simulated

    with open_board(None, Simulated(load_rig(DEFAULT_RIG), None, None, 0, None, Path(image))) as session:
        yield session


def refuse_two_warmers(*, virtual: str | None, port: str | None, rig: str | None = None,
                       plant: str | None = None) -> None:  # fmt: skip
    """Refuse options that name two warmers at once.

    Parameters
    ----------
    virtual, plant : str or None
        The simulated warmer: a rig or an image, and a plug-in.
    port : str or None
        The real board.
    rig : str or None
        A rig file; beside a plain ``--virtual`` it is the one to simulate.

    Raises
    ------
    UseError
        If two are named.
    """
    if port and (virtual is not None or plant is not None):
        raise UseError("--port is a real board and --virtual (or --plant) a simulated one",
                       hint="leave one of them out")  # fmt: skip
    if rig and virtual not in (None, DEFAULT_RIG):
        raise UseError(f"--virtual {virtual} and --rig {rig} both name a warmer", hint="leave one of them out")


def _virtual(simulated: Simulated) -> Session:
    """Imported here, because the simulator takes half a second to load and a live board needs none."""
    from bainwright.virtual.session import VirtualSession

    return VirtualSession(simulated)
