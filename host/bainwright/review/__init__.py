"""After a hold: report and review, several compared."""
