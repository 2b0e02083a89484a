"""The board on its port: the wire protocol, serial ports, and finding the right board."""
