"""What whoever has a new board is told."""

NEW_BOARD = """\
How to put MicroPython on a new board:
  1. Download the newest .uf2 file for it: https://micropython.org/download/RPI_PICO/
     (for a Pico 2: https://micropython.org/download/RPI_PICO2/).
  2. Hold the button BOOTSEL on the board while you plug it into USB, then let go.
     A drive named RPI-RP2 appears (RP2350 for a Pico 2).
  3. Copy the .uf2 file onto that drive. The drive goes away: the board has started anew.
  4. Run handbell prepare again"""
