"""The record of a hold: written live, read back, collected, archived."""
