"""rp2: the recessed button."""

import _clock


def bootsel_button():
    """1 while the board's own button is pressed."""
    _clock.stamp()
    return 1 if _clock.buttons & 4 else 0
