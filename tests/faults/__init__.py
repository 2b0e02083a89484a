"""The fault campaign: the real firmware against parts that fail, people who do odd things, and mutants of itself."""
