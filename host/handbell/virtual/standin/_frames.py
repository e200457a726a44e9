"""The control channel between a virtual box and its world: one frame format, both ways.

A frame is a head of 20 bytes, little-endian, then `size` bytes of body:

    kind u8 | arg u8 | size u16 | at_us u64 (world time) | value u64 | body

World to box

    CONFIG body: JSON, the first frame of all; see `VirtualBox`
    FLOW   time flows: world time was at_us when CLOCK_MONOTONIC stood at value us; arg = speed,
           0 to stand still
    RUN    jump from event to event up to at_us, then say REACHED and wait for FLOW
    EDGES  body: u64 each, `world_us << 8 | pin << 1 | level`; every edge before at_us is now known
    ADC    arg = channel, value = what read_u16 gives

Box to world

    START    flash mounted, the firmware is about to run
    REACHED  this box stands at the end of its RUN
    MORE     send the next EDGES: of those it knows, all before value us are behind the box
    BEAT     still moving; at_us says how far
    I2C      arg = address, body = bytes written; at_us is when the part took them
    STRIP    arg = pin, body = WS2812 bytes in wire order
    PWM      arg = pin, value = frequency_hz << 16 | duty_u16
    LEVEL    arg = pin, value = level driven
    FLASH    arg = ERASE or PROGRAM, value = block << 32 | busy_us
    LIT      body = a telegram that begins to go by infra-red
    RESET    the firmware asked for a reset (arg = cause); the box waits to be ended
    CUT      the flash operation at which power was to fail; the box waits to be ended
"""

HEAD = "<BBHQQ"
HEAD_SIZE = 20

CONFIG, FLOW, RUN, EDGES, ADC = 1, 2, 3, 4, 5
START, REACHED, MORE, BEAT = 16, 17, 18, 19
I2C, STRIP, PWM, LEVEL, FLASH, LIT = 32, 33, 34, 35, 36, 37
RESET, CUT = 48, 49

ERASE, PROGRAM = 0, 1

# Further off than any world goes, yet a small integer on the box even when shifted left by 8.
FOREVER_US = 1 << 53
