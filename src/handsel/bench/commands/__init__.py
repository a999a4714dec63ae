"""The verbs of the command line that need the web application or its records; the command finds them by name."""
