"""Testing a warmer's trips and cut-outs, and storing the results."""
