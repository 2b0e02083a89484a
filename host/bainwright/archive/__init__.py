"""Every hold there is: listed, found by name, exported."""
