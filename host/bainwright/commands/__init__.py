"""The commands: options in, words or JSON out."""
