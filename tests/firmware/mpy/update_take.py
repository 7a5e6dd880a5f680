"""Takes each release that is laid out below a folder; prints `name|what was said|what the slot then is`."""

import asyncio
import binascii
import os
import sys

from flash import blank, mount
from sootboard import channels, update
from update_kit import App, hash_of, holds, load, run_from, send

KEY = binascii.unhexlify(sys.argv[1])
FOLDER = sys.argv[2]
GOOD = load(FOLDER + "/good")
PUMP, BURNER = (1 << channels.SWITCHED.index(name) for name in ("pump", "burner"))
STACK = channels.numeric("stack")
sys.path.insert(0, "a")


def told(name, text, release=None):
    print(name, text, "whole" if release and holds("b", release) else "not whole", sep="|")


def fresh(blocks=40):
    os.chdir("/")
    mount(blank(blocks))
    os.chdir("/data")
    run_from("a")
    return App(KEY)


def step(app, command):
    return asyncio.run(update.carry_out(app, command))[0]


for name in sorted(os.listdir(FOLDER)):
    release = load(FOLDER + "/" + name)
    told(name, asyncio.run(send(fresh(), release))[0], release)
told("no room", asyncio.run(send(fresh(10), GOOD))[0])

app = fresh()
app.update_key = None
told("no key", asyncio.run(send(app, GOOD))[0])
app = fresh()
sys.path[0] = ""
told("no slots", asyncio.run(send(app, GOOD))[0])
sys.path[0] = "a"
app = fresh()
with open("slots.json", "w") as f:
    f.write('{"active": "b", "trial": "a", "tries": 1}')
told("on trial", asyncio.run(send(app, GOOD))[0])

# By what the sensors say.
for name, states, values, fitted in (
    ("burner on", BURNER, {STACK: 2000}, True),
    ("stack hot", 0, {STACK: 15000}, True),
    ("refilling", PUMP, {STACK: 2000}, True),
    ("inputs not known yet", None, {}, True),
    ("nothing to tell by", 0, {}, False),
    ("stack alone, cold", 0, {STACK: 2000}, False),
    ("burner off", 0, {}, True),
):
    app = fresh()
    app.sampler.states = states
    app.sampler.values = values
    app.sampler.contact_mask = PUMP | (BURNER if fitted else 0)
    told(name, asyncio.run(send(app, GOOD))[0], GOOD)
    if name == "nothing to tell by":
        told(name + ", owner says off", update.busy(app.sampler, True))
    if name == "burner on":
        told(name + ", owner says off", update.busy(app.sampler, True))

# A firing that begins on the way: nothing is lost, it goes on afterwards.
app = fresh()
begin = {"begin": hash_of(GOOD[0]), "size": len(GOOD[0])}
first = {"file": "manifest", "at": 0, "data": binascii.b2a_base64(GOOD[0][:100]).decode()}
told("before the firing", step(app, begin) or step(app, first))
app.sampler.states = BURNER
told("in the firing", step(app, dict(first, at=100)))
told("start in the firing", step(app, {"start": True}))
app.sampler.states = 0
told("after it", asyncio.run(send(app, GOOD))[0], GOOD)

# Steps out of order, and rubbish.
app = fresh()
told("start before begin", step(app, {"start": True}))
told("block before begin", step(app, first))
told("begin, a block twice", step(app, begin) or step(app, first) or step(app, first))
told("start before the end", step(app, {"start": True}))
told("too much", step(app, {"file": "manifest", "at": 100, "data": binascii.b2a_base64(bytes(5000)).decode()}))
told("not base64", step(app, {"file": "manifest", "at": 100, "data": "!"}))
told("no data", step(app, {"file": "manifest", "at": 100}))
told("begin without size", step(app, {"begin": "00"}))
told("huge", step(app, {"begin": hash_of(b""), "size": 10**6}))
