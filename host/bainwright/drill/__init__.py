"""Testing the trips and cut-outs of a warmer, and storing the results."""
