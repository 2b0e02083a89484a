"""Calibration of probes: known temperatures, a fit with its uncertainty, the record."""
