"""Heat, vapour and chocolate as pure functions, for the plan and the simulated warmer."""
