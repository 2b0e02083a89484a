"""One file a command: options in, words or JSON out."""
