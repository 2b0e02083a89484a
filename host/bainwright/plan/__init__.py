"""The arithmetic of a batch: how much seed, how long, how warm, and whether the heater is enough."""
