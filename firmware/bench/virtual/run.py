"""Runs main.py in virtual time."""

import pace  # noqa: F401

# isort: split
import main

main.main()
