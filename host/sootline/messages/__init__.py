"""Who is told what, and when: a pure function of alarms, contacts, what was told before, and the time."""
