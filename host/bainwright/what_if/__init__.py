"""An evening played again with another choice."""
