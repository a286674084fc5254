"""`python -m previz` is `previz`, for where the command itself is not on the path."""

from previz.cli import main

main()
