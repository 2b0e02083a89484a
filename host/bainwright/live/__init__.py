"""A hold that runs, for all who watch."""
