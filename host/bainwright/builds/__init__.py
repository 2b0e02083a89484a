"""Warmers one can build: their parts, ratings and sums, and the rules they must pass."""
