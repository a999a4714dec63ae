"""Settings that hold for every test."""

from __future__ import annotations

from hypothesis import settings

# The machine may be busy with something else: a slow example is no broken law.
settings.register_profile("handsel", deadline=None)
settings.load_profile("handsel")
