"""The commands: options in, words or JSON out; with what they share."""
