"""Running a hold: its options, runner, watch and prompts."""
