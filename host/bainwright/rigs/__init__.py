"""The warmer as built: its rig file made, looked at, checked, sent to the board and read back."""
