"""Alarms that reach a person away from the warmer."""
