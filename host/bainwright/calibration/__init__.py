"""Calibration of a warmer's probes: known temperatures, a fit with its uncertainty, and the record of both."""
