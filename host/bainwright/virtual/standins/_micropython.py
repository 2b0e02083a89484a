"""micropython. It reports the interrupt character to the simulator, which looks for it in the host's bytes."""

import _clock
from micropython import *  # noqa: F403


def kbd_intr(char):
    """Which byte interrupts; -1: none."""
    _clock.shared.interrupt_char = char
