"""What a person sees of a hold: the scene, the terminal screen, large digits, the picture."""
