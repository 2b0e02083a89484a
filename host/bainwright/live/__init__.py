"""A hold that runs, for whoever watches."""
