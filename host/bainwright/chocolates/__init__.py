"""Chocolates as files: made from a bag's chart, checked, shown, sent, read back."""
