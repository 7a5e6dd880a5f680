"""Three times as much as fits: the oldest goes, nothing stops, and what is left is the newest."""

from flash import blank, mount
from rows import MASK, Week, encode
from sootboard import frame
from sootboard.store import Store

device = mount(blank(20))
store = Store("/data")
week = Week()
count = 3 * 20 * 4096 // 250
for seq in range(count):
    assert store.append([encode(9, seq, MASK, [week.next() for _ in range(24)])])
found = []
while store.first():
    found.append(frame.Frame(store.first()).seq)
    store.pop()
print("written", count)
print("first", found[0])
print("last", found[-1])
print("gaps", found[-1] - found[0] + 1 - len(found))
print("dropped_segments", store.dropped_segments)
