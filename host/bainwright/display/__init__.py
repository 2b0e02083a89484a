"""A hold as a person sees it: the scene, the terminal screen, large digits, the picture."""
