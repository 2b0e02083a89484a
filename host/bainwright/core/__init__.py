"""What every room stands on: errors, units, masses, TOML reading, keys. It imports no other room."""
