"""Installing the firmware on a board: all of it, or no change."""
