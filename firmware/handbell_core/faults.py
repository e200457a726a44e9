"""Fault codes that a box reports; the words belong to the host."""

# Refusals of a request
UNKNOWN = 1  # no such request
BAD_REQUEST = 2  # a field is missing or wrong
NO_ROOM = 3  # the flash is full
NOT_FOUND = 4  # no file of that digest
NOT_WHOLE = 5  # digest or check of a transfer does not match
BAD_OFFSET = 6  # a chunk that does not follow the last good byte
BUSY = 7  # not while a class is armed or running
CLOCK_LOST = 8  # no clock model in this boot
TOO_LATE = 9  # the start is past or too near
BATTERY_LOW = 10
VERSION = 11  # formats that can't talk
WRONG_BOX = 12  # a timeline for more buttons than the box has
TOO_FAR = 13  # the start is more than three days away
CLOCK_OLD = 14  # the clock was set too long ago
CLOCK_UNSURE = 15  # the clock may be off by too much

# Notes in a journal
LATE_CUE = 32  # value: lateness in us; the first late bell, and each more than twice as late
STORAGE_FULL = 33  # value: records that could not be kept
EDGES_LOST = 34  # value: how many
BATTERY_WARNING = 35  # value: mV; once, when it is low
FLASH_ERROR = 36  # value: records that could not be kept, 0 if the later tries kept all
TIMELINE_BROKEN = 37  # what the box holds fails its check
FIRMWARE = 38  # the box's program met an error of its own; value: how often
