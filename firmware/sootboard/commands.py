"""The commands a host may send. None of them can act on a burner."""

import json

from . import forget


async def carry_out(app, payload):
    """Carry out one command; returns the result as JSON text, or None if it names no id."""
    try:
        command = json.loads(payload)
        token = command["id"]
        what = command["do"]
    except (ValueError, KeyError, TypeError):
        return None
    more = ""
    if what == "identify":
        error = app.warning.identify()
    elif what == "report-interval":
        error = _interval(app.sampler, command)
    elif what == "send-buffer":
        error = app.outbox.flush()
    elif what == "update":
        try:
            from . import update

            error, wanted = await update.carry_out(app, command)
        except MemoryError:
            app.update = None  # better no update than no board
            forget("update", "manifest", "steps", "ed25519", "sha512")
            error, wanted = "not enough memory for an update", None
        more = ', "next": ' + json.dumps(wanted)
    else:
        error = "unknown command"
    ok = "false" if error else "true"
    return '{"id": %s, "ok": %s, "error": %s%s}' % (json.dumps(token), ok, json.dumps(error), more)


def _interval(sampler, command):
    fast, error = _whole(command, "interval", 1, 60, sampler.interval_s)
    slow, slow_error = _whole(command, "idle_interval", 5, 600, sampler.idle_interval_s)
    if error or slow_error:
        return error or slow_error
    sampler.interval_s, sampler.idle_interval_s = fast, slow
    return None


def _whole(command, key, low, high, old):
    """`(value, error)` of an optional whole number of seconds."""
    value = command.get(key, old)
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        return old, "%s must be a whole number from %d to %d" % (key, low, high)
    return value, None
