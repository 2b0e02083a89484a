"""bainwright: the PC side of a chocolate warmer you build yourself."""

from bainboard import VERSION as __version__

__all__ = ["__version__"]
