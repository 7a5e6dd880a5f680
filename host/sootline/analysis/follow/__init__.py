"""Followers: from marks to what goes on (pump runs, fire, heating, phase) and to finished events with features."""
