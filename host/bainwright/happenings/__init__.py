"""What happened in a hold, from its readings."""
