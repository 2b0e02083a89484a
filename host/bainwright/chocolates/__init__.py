"""Chocolates as files: what the bag says, judged, shown, and brought to a board and back."""
