"""What a person reads about the board: fault advice, and names for events, states, stages and acts."""
