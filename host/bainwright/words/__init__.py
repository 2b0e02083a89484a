"""What a person reads about the board: fault advice, names of events, states, stages, acts."""
