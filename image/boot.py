"""Inside the image, run at every start before ``main.py``: a new image goes before older files.

The firmware of an image runs unless the file ``active`` names one of the folders that
``handbell prepare`` fills. One that was put there before this image came is older than it, so at
the image's first start ``active`` and ``trial`` are removed; what prepare puts there later goes
before the image. Stray files in the board's root folder never do.
"""

import sys


def first_start() -> None:
    """At an image's first start on a board let no older firmware go before it."""
    import os

    from image_name import NAME

    try:
        with open("image") as f:
            if f.read() == NAME:
                return
    except OSError:
        pass
    for name in ("trial", "active"):
        try:
            os.remove(name)
        except OSError:
            pass
    try:
        with open("image.new", "w") as f:
            f.write(NAME)
        os.rename("image.new", "image")
    except OSError:
        pass  # a full flash: the next start tries again


sys.path.remove(".frozen")
sys.path.insert(0, ".frozen")
first_start()
del first_start, sys
