"""Every hold: listed, found, exported, summed."""
