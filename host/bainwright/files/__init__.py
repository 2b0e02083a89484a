"""The files of a person or a board: rig, chocolate, firmware, documents; and the score of a hold."""
