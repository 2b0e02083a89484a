"""What a record says afterwards: the report of a hold, the morning, holds the board ran alone."""
