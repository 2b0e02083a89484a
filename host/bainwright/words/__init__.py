"""What a person reads: fault advice, names of events, states, stages, acts."""
