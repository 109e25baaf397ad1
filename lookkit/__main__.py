"""`python -m lookkit`."""

from lookkit.cli import main

main()
