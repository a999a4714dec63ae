"""`python -m handsel.cli`, for when the command itself is not on the path."""

from handsel.cli import main

main()
