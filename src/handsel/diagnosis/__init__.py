"""Why a hand is not right: causes with probabilities, the next check, and what was expected against what was seen."""
