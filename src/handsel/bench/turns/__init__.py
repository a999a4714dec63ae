"""SQLite for many threads: writers wait for one another in a line."""
