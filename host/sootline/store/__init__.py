"""Everything the service must not forget: readings, events, alarms, the log, what people did and what was sent.

store.py is the whole interface; LAYOUT.md describes the files, so that any other tool can read them.
"""

from sootline.store.store import Batch, Store

__all__ = ["Batch", "Store"]
