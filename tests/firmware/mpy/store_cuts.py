"""Power cut at every erase and program of a store's life, torn at 0, 37 and 100 percent of each operation."""

from flash import PowerCut, blank, mount
from rows import MASK, Week, encode
from sootboard import frame
from sootboard.store import Store

TORN = (0, 37, 100)
STEPS = 40
PER_STEP = 3  # appends of one boot: the first opens a segment, the others add to it
week = Week()
batches = []
for seq in range(STEPS * PER_STEP):
    batches.append(encode(9, seq, MASK, [week.next() for _ in range(24)]))


def everything(store):
    found = []
    while store.first():
        found.append(frame.Frame(store.first()).seq)
        assert store.first() == batches[found[-1]], "content"
        store.pop()
    return found


def boot(memory):
    device = mount(memory)
    return device, Store("/data")


def forgets(n):
    return n % 6 == 5


def step(store, n, done):
    """One boot's work: now and then acknowledge the oldest five, then append; `done` gets what was flushed."""
    if forgets(n):
        for _ in range(5):
            store.first()
            store.pop()
    for i in range(n * PER_STEP, (n + 1) * PER_STEP):
        if not store.append([batches[i]]):
            raise OSError(5)
        done.append(i)


cuts = lost = wrong_order = 0
kept = []
for n in range(STEPS):
    if n % 8 == 0:
        memory = blank(32)
        kept = []
    snapshot = bytes(memory)
    device, store = boot(memory)
    begin = device.erases + device.programs
    step(store, n, [])
    operations = device.erases + device.programs - begin
    for at in range(operations):
        for torn in TORN:
            trial = bytearray(snapshot)
            device, store = boot(trial)
            device.left = at
            device.torn_percent = torn
            done = []
            try:
                step(store, n, done)
            except (PowerCut, OSError):
                cuts += 1
            device.dead = True
            found = everything(boot(trial)[1])
            for seq in (kept[5:] if forgets(n) else kept) + done:
                if seq not in found:
                    lost += 1
            if found != sorted(found):
                wrong_order += 1
    # A reset repeats what is left of a segment, so more may be there than was not acknowledged.
    kept = everything(boot(bytearray(memory))[1])
print("cuts", cuts)
print("lost", lost)
print("wrong_order", wrong_order)
print("kept", len(kept))
