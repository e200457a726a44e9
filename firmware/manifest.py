"""For whoever builds MicroPython for the board: this firmware inside the image.

Give its path as FROZEN_MANIFEST to the make of the runtime's port. Code in the image runs from the
flash and leaves the memory to the class; ``main.py`` still goes onto the board as a file.
"""

include("$(PORT_DIR)/boards/manifest.py")
package("boards", base_path=".")
package("box", base_path=".")
package("handbell_core", base_path=".")
module("begin.py", base_path=".")
