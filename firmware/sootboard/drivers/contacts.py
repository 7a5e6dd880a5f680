"""Filtered on/off inputs, active low, polled together and debounced."""

from ..debounce import Debounce

# Typical delays of the input filters, taken off the time of an edge.
ON_DELAY_MS = 30
OFF_DELAY_MS = 110


class Contacts:
    """`inputs` is a list of `(bit, pin)`; bits are positions in channels.SWITCHED."""

    def __init__(self, inputs, samples=3):
        self._inputs = [(bit, pin, Debounce(samples)) for bit, pin in inputs]
        self._settled = None  # pin levels that need no work
        self.mask = 0
        for bit, _ in inputs:
            self.mask |= 1 << bit
        self.states = 0
        self.known = not inputs

    def poll(self, t_ms):
        """Look at every input once. Returns the changes as a list of `(t_edge_ms, bit, on)`, or None."""
        levels = 0
        for bit, pin, _ in self._inputs:
            if not pin.value():
                levels |= 1 << bit
        if levels == self._settled:
            return None
        changes = []
        settled = True
        for bit, _, debounce in self._inputs:
            change = debounce.update(levels >> bit & 1, t_ms)
            if change:
                on, edge_ms = change
                changes.append((edge_ms - (ON_DELAY_MS if on else OFF_DELAY_MS), bit, on))
            if debounce.state is None or debounce.pending():
                settled = False
        self._settled = levels if settled else None
        if not changes:
            return None
        first = not self.known
        for _, bit, on in changes:
            self.states = self.states | 1 << bit if on else self.states & ~(1 << bit)
        self.known = all([d.state is not None for _, _, d in self._inputs])
        return None if first else sorted(changes)
