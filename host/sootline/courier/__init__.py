"""Carries messages to people: the thread, the ways out of the house, and the sign of life to a watcher outside."""
