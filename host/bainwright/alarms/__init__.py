"""Alarms that reach a person away from the warmer: when one is due, and how it is sent."""
