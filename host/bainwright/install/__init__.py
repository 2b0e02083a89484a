"""Firmware onto a board: all of it, or no change."""
