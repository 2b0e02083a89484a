"""Freezes the firmware into an image of MicroPython, with the interpreter's own tools: see host/INSTALL.md.

What the port freezes by itself comes first; the 1-wire bus is part of it. Line numbers stay: they cost flash, not heap.
"""

include("$(PORT_DIR)/boards/manifest.py")
package("bainboard", base_path="..")
module("main.py")
