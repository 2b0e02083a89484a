"""Chocolates as files: made from what the bag says, checked, shown, sent to a board and read back."""
