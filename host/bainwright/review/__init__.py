"""After a hold: its report, the morning after melted stock, holds that the board ran alone."""
