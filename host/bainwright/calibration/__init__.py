"""What a warmer's probes are worth: known temperatures, a fit with its doubt, and the record of both."""
