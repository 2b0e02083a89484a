"""The board on its port: the wire protocol, and finding the right board."""
