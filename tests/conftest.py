"""Records of holds go below each test's own working directory, never into the user's home."""

import os

os.environ["BAIN_HOME"] = "."
