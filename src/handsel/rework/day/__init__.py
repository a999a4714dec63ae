"""The plan of a build day: who works on which hand, and when."""
