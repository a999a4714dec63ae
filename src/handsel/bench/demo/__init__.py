"""An invented build day to try things on: the Millbrook library's. None of it ever happened."""
