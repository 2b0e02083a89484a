"""The record of a hold: written live, read back, collected from the board, archived."""
