"""os, with the functions that a board's port has and the PC's lacks."""

from os import *  # noqa: F403

import _clock
from ucollections import namedtuple

MACHINE = f"virtual {_clock.machine} (simulated warmer)"
_Uname = namedtuple("uname", ("sysname", "nodename", "release", "version", "machine"))


def uname():
    """The port's names."""
    from sys import implementation

    release = ".".join([str(number) for number in implementation[1][:3]])
    return _Uname("virtual", "virtual", release, implementation[2], MACHINE)


def sync():
    """Files are on the flash image when they are closed."""
