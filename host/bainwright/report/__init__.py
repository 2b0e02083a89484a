"""After a hold: its report, also from the board's own log."""
