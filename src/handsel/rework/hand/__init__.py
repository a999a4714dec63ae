"""The plan of one hand: what to look at or do next, and what then."""
