"""Every hold there is: listed, found, exported, summed."""
