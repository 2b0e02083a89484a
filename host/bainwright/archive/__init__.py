"""Every hold there is: listed, and found by a short name, from any folder."""
