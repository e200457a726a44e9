"""The commands: each one's group in the help, and one line on what it does.

A command is one module in the folder of its group under ``handbell.cli.commands``, imported only
when it is used.
"""

from __future__ import annotations

PLAN, BOXES, CLASS, AFTER, TRY = "Plan", "Boxes", "Class", "After class", "Try"
GROUPS = {PLAN: "planning", BOXES: "upkeep", CLASS: "in_class", AFTER: "after", TRY: "trying"}

COMMANDS: dict[str, tuple[str, str]] = {
    "new": (PLAN, "write a plan to start from, in the forms you name"),
    "check": (PLAN, "find every fault in a plan and add up its times"),
    "show": (PLAN, "print a plan's timetable, for people or box by box"),
    "exercises": (PLAN, "search the library of exercises"),
    "swap": (PLAN, "replace exercises in a plan, for all or for single bibs"),
    "fit": (PLAN, "make a class last exactly its slot, or a plan one step easier"),
    "order": (PLAN, "arrange who goes where so that kit and stations are enough"),
    "cards": (PLAN, "write station cards and a one-page timetable to print"),
    "rehearse": (PLAN, "write the bells of a class as a sound file"),
    "boxes": (BOXES, "list the boxes that are plugged in, their health and readiness"),
    "identify": (BOXES, "make a box show and sound its station number"),
    "stations": (BOXES, "say which box hangs at which station"),
    "hall": (BOXES, "say of which hall this computer's classes are"),
    "prepare": (BOXES, "put the firmware on a box, new or old"),
    "measure": (BOXES, "measure a real box on a table and write the sheet"),
    "send": (CLASS, "put a plan's timelines on the boxes and set their clocks"),
    "arm": (CLASS, "set the start of the class on every box, all or none"),
    "join": (CLASS, "put a box into the class that is on, where a remote leads it"),
    "collect": (CLASS, "bring the logs of finished classes into the store"),
    "report": (AFTER, "a class, an athlete or the group: in the terminal and as a page"),
    "bibs": (AFTER, "say who wore which bib in a class, and who was absent"),
    "amend": (AFTER, "correct a count, a bib or a name afterwards, the old one kept"),
    "class": (AFTER, "which logs a class has; join, part, date, delete; undo that"),
    "advise": (AFTER, "who is ready for more, who needs less, and next week's plan"),
    "history": (AFTER, "who came how often, how hard it was, and one person's progress"),
    "roster": (AFTER, "names, bibs and groups, on this computer only"),
    "forget": (AFTER, "forget a person completely, backups too"),
    "export": (AFTER, "write tables for a sheet, or a bundle for another coach"),
    "import": (AFTER, "take in a bundle of another coach"),
    "store": (AFTER, "check the store, copy it, put a copy back; prepare a server"),
    "unread": (AFTER, "logs that can't be read: list them, try again, get them out"),
    "demo": (TRY, "run a whole class on virtual boxes, from plan to report"),
    "virtual": (TRY, "start boxes on this computer and show them live"),
    "doctor": (TRY, "say how things stand on this computer, with remedies"),
    "completion": (TRY, "print what lets a shell complete commands and options"),
}
