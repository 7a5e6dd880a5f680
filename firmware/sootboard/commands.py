"""The commands a host may send. None of them can act on a burner."""

import json


class Commands:
    """`actions` maps what is to be done to a function of the command that returns None or an error text."""

    def __init__(self, actions):
        self._actions = actions

    def __call__(self, payload):
        """Carry out one command; returns the result as JSON text, or None if it names no id."""
        try:
            command = json.loads(payload)
            token = command["id"]
            what = command["do"]
        except (ValueError, KeyError, TypeError):
            return None
        action = self._actions.get(what) if isinstance(what, str) else None
        error = action(command) if action else "unknown command"
        ok = "false" if error else "true"
        return '{"id": %s, "ok": %s, "error": %s}' % (json.dumps(token), ok, json.dumps(error))


def interval(command, key, low, high, old):
    """`(value, error)` of an optional whole number of seconds."""
    value = command.get(key, old)
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        return old, "%s must be a whole number from %d to %d" % (key, low, high)
    return value, None
