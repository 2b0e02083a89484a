"""Running a hold: its options, the runner, the watch, the prompts."""
