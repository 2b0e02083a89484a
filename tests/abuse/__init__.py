"""Abuse: lying boards, damaged files and malformed messages. `python -m tests.abuse` runs it at full size."""
