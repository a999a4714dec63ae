"""handsel: inspect, diagnose and put right wrist-driven assistive hands at a build day."""

__version__ = "0.1.0"
