"""Running a hold: options, watch, prompts."""
