"""Three days of outage on a quarter of 1 MiB: erases a row, and how far back the kept rows reach."""

from flash import blank, mount
from rows import MASK, Week, encode
from sootboard import frame
from sootboard.outbox import Outbox
from sootboard.store import Store

DAYS = 3
QUARTERS = 4
memory = blank(256 // QUARTERS)
device = mount(memory)
store = Store("/data")
outbox = Outbox(7, MASK, store)
week = Week()
rows = 0
before = device.erases
while week.now_ms < DAYS * 86400000:
    outbox.put(week.next())
    rows += 1
oldest = frame.Frame(store.first())
print("rows", rows)
print("rows_a_day", rows // DAYS)
print("erases_per_row", (device.erases - before) / rows)
print("days_kept_on_1_MiB", QUARTERS * (week.now_ms - oldest.uptime_ms) / 86400000)
print("failures", store.failures)

# What batching is worth: the same store with every row flushed by itself.
device = mount(blank(64))
store = Store("/data")
before = device.erases
for seq in range(300):
    store.append([encode(7, seq, MASK, [week.next()])])
print("unbatched_erases_per_row", (device.erases - before) / 300)
