"""Files of a person or a board: rig, chocolate, firmware, documents; the score of a hold."""
