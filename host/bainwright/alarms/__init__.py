"""Alarms that reach a person elsewhere."""
