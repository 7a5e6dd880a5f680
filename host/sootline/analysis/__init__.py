"""From rows of readings to phases, events and alarms: a pure function of what was measured and when it arrived.

rows -> marks (sample level, vectorised) -> followers (states, pump, fire, heating) -> detectors -> book of alarms
"""
