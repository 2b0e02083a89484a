"""After a hold: its report, its review, several compared."""
