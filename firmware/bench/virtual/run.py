"""Runs main.py in virtual time."""

import pace  # noqa: F401

# isort: split
import main  # noqa: F401
