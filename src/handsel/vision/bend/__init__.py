"""Pale lines along a bend, for a person to confirm or dismiss (`whitening`)."""
