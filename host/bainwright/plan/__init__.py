"""The arithmetic of a batch: how much seed, how long, how warm, how strong a heater."""
