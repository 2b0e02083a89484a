"""Warmers that one can build: their parts and ratings, the sums behind them, and the rules they must pass."""
