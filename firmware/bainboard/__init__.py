"""The warmer's firmware, in layers: each module imports only from those below it (see DEVELOPERS.md)."""

VERSION = "0.1.0"
