"""The firmware onto a board, whole or not at all."""
