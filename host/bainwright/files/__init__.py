"""The files a person or the board keeps: rig, chocolate, firmware, documents; and the score of a hold."""
