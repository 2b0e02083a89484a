"""Learning a warmer: identify it, choose gains, prove them."""
