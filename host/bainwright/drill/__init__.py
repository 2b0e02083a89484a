"""Proving the trips and cut-outs of a warmer, and keeping what was proved."""
