"""Runs inside MicroPython: cuts every scenario at every stride-th flash operation.

Arguments: stride, then scenarios by name, all without. Prints a line for each fault and for each
scenario: name, cuts, stored taps lost, boxes that did not start, all other faults.
"""

import gc
import os
import sys

import scenarios
import vfs
from flash import GARBAGE, PAGE, Flash
from scenarios import ROOT

from box.transfer import Transfer

BLOCKS = 64


def mount(flash):
    vfs.mount(vfs.VfsLfs2(flash, progsize=PAGE), ROOT)


def unmount():
    os.chdir("/")
    vfs.umount(ROOT)
    gc.collect()


def cut_off(act, base, cut, tear):
    """Act with power failing at an operation; return (flash, promises made before)."""
    flash = Flash(bytearray(base), cut, tear)
    promised = []
    mount(flash)
    try:
        act(promised.append)
    except OSError:
        if not flash.dead:
            raise
    unmount()
    return flash, promised


def start(scenario, flash, promised):
    """Start the box again; return (lost, what else is wrong)."""
    mount(flash)
    try:
        storage = Transfer(ROOT)
        lost, wrong = scenario.check(storage, promised)
        wrong = wrong + scenarios.look(storage) + scenarios.go_on(storage)
    finally:
        unmount()
    if flash.unerased:
        wrong.append("programmed what was not erased")
    return max(0, lost), wrong


class Tally:
    """Counts what came of cuts."""

    def __init__(self, scenario):
        self.scenario = scenario
        self.cuts = self.lost = self.dead = self.wrong = 0

    def judge(self, data, promised, where):
        """Start the box on what a cut left, and count and print what is wrong."""
        self.cuts += 1
        try:
            lost, faults = start(self.scenario, Flash(bytearray(data)), promised)
        except Exception as error:
            self.dead += 1
            self.tell(where, f"did not start: {error!r}")
            return
        self.lost += lost
        self.wrong += len(faults)
        for fault in faults + [f"lost {lost}"] * (lost > 0):
            self.tell(where, fault)

    def tell(self, where, what):
        print(type(self.scenario).__name__, where, what)


def starting(promise):
    """What a box does to its flash when it starts."""
    Transfer(ROOT)


def cut_everywhere(kind, stride):
    flash = Flash(bytearray(b"\xff" * (BLOCKS * 4096)))
    vfs.VfsLfs2.mkfs(flash, progsize=PAGE)
    scenario = kind()
    mount(flash)
    scenario.before()
    base = bytes(flash.data)  # as it lies there when power fails: nothing is closed or unmounted
    unmount()
    whole, _ = cut_off(scenario.act, base, -1, 0)
    tally = Tally(scenario)
    for tear in range(GARBAGE + 1):
        for cut in range(tear % stride, whole.operations, stride):
            flash, promised = cut_off(scenario.act, base, cut, tear)
            assert flash.dead
            tally.judge(flash.data, list(promised), (cut, tear))
            # Power may fail again while the box puts itself right.
            again, _ = cut_off(starting, flash.data, -1, 0)
            for second in range(again.operations):
                twice, _ = cut_off(starting, flash.data, second, (tear + second) % 3)
                tally.judge(twice.data, list(promised), (cut, tear, second))
    print("RESULT", kind.__name__, tally.cuts, tally.lost, tally.dead, tally.wrong)


wanted = [getattr(scenarios, name) for name in sys.argv[2:]] or scenarios.ALL
for one in wanted:
    cut_everywhere(one, int(sys.argv[1]))
