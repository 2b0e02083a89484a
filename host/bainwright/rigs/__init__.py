"""The warmer as built: its rig file made, shown, checked, sent to the board, read back."""
