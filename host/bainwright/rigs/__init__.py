"""The warmer as built: making its rig file, showing and checking it, sending it to the board, reading it back."""
