"""Learning a warmer: identify it, choose gains, test them."""
