"""What a person sees of a hold: scene, screen, large digits, picture."""
