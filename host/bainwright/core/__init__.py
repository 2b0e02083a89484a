"""What every room builds on: errors, units, masses, TOML reading, keys."""
