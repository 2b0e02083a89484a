"""What every room builds on: errors, units, TOML, keys."""
