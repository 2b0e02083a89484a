"""Past holds: listed, shown, reviewed, compared."""
