"""Power cut at every erase and program of an update, a trial's counting and its end: always a whole slot to start."""

import asyncio
import binascii
import os
import sys

import main
from flash import PowerCut, blank, mount
from sootboard import slots
from update_kit import App, holds, load, put, run_from, send

TORN = (40, 100)  # percent
KEY = binascii.unhexlify(sys.argv[1])
OLD, NEW = load(sys.argv[2]), load(sys.argv[3])
RELEASES = {"a": OLD, "b": NEW}
sys.path.insert(0, "")


def power_up(memory):
    os.chdir("/")
    device = mount(memory)
    os.chdir("/data")
    return device


def the_update():
    run_from("a")
    error, _ = asyncio.run(send(App(KEY), NEW))
    if error:
        raise OSError(error)
    slots.stage()


def the_start():
    main.choose()


def the_confirmation():
    run_from("b")
    slots.confirm()


def the_giving_up():
    run_from("b")
    slots.give_up()


cuts = not_whole = wrong_slot = not_resumed = saved = 0


def look(memory, may):
    """After the cut: what the loader starts must be whole, and one of the slots it `may` be."""
    global not_whole, wrong_slot
    power_up(memory)
    slot, trial = main.choose()
    if slot not in may:
        wrong_slot += 1
    elif not holds(slot, RELEASES[slot]):
        not_whole += 1
    return slot, trial


def cut_everywhere(memory, action, may, resume=False):
    """Cut `action` at every flash operation; returns the memory after it went through."""
    global cuts, not_resumed, saved
    at = 0
    while True:
        trial = bytearray(memory)
        for torn in TORN:
            trial[:] = memory
            device = power_up(trial)
            device.left = at
            device.torn_percent = torn
            try:
                action()
                through = not device.dead
            except (PowerCut, OSError):
                through = False
            device.left = -1
            if through:
                return trial
            cuts += 1
            device.dead = True
            slot, _ = look(trial, may)
            if resume and slot == "a" and torn == TORN[-1]:
                run_from("a")
                error, blocks = asyncio.run(send(App(KEY), NEW))
                if error or not holds("b", NEW):
                    not_resumed += 1
                saved = max(saved, blocks_of_all - blocks)
        at += 1


blocks_of_all = -(-len(NEW[0]) // 512) + sum([-(-len(d) // 512) for d in NEW[1].values()])
memory = blank(40)
power_up(memory)
put("a", OLD)
put("b", OLD)  # what an earlier update has left there
after = cut_everywhere(memory, the_update, ("a", "b"), True)
starts = 0
while main.read()[1] and starts < 10:
    before = bytearray(after)
    cut_everywhere(before, the_start, ("a", "b"))
    if starts == 0:
        power_up(before)
        cut_everywhere(before, the_confirmation, ("a", "b"))
        cut_everywhere(before, the_giving_up, ("a", "b"))
    power_up(after)
    if look(after, ("a", "b"))[1]:
        starts += 1
print("cuts", cuts)
print("not_whole", not_whole)
print("wrong_slot", wrong_slot)
print("not_resumed", not_resumed)
print("blocks", blocks_of_all)
print("most_blocks_saved", saved)
print("trial_starts", starts)
print("in_the_end_a", int(main.choose() == ("a", False)))
