"""Starts a virtual box: joins the world, mounts the flash, runs the firmware's main.py.

Arguments: the descriptors to read frames from and to write them to.
"""

import os
import sys

import vfs

_PAGE_SIZE = 256


def _run():
    rx_fd, tx_fd = int(sys.argv[1]), int(sys.argv[2])
    del sys.argv[1:]
    import _channel
    import _frames
    import _world

    config = _world.begin(rx_fd, tx_fd)
    import machine
    from _flash import Flash

    machine._begin(config)
    flash = Flash(config)
    try:
        fs = vfs.VfsLfs2(flash, progsize=_PAGE_SIZE)
    except OSError:
        vfs.VfsLfs2.mkfs(flash, progsize=_PAGE_SIZE)
        fs = vfs.VfsLfs2(flash, progsize=_PAGE_SIZE)
    vfs.mount(fs, "/flash")
    os.chdir("/flash")
    flash.busy = True
    _channel.tell(_frames.START, 0, 0)
    main = config["main"]
    try:
        execfile(main, {"__name__": "__main__", "__file__": main})  # noqa: F821 - MicroPython's own
    finally:
        _channel.flush()


_run()
