"""Heat, vapour and chocolate as pure functions, shared by the plan and the simulated warmer."""
