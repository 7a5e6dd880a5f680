"""Runs on the board after boot.py."""

import gc

gc.threshold(8192)  # collect often while modules are loaded, or the heap ends up in pieces

from sootboard import app  # noqa: E402

app.main()
