"""Boards on a USB port: finding them, talking to their console, putting software and settings on them."""
