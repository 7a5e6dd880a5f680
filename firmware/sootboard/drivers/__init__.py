"""One file a chip. A driver is given its bus and pins; `read()` returns `(value, "")` or `(None, fault)`."""
