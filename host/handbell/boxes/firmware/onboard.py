"""The code that ``prepare`` runs on a board. Paths are relative: a board starts in its root folder.

SURVEY, LOOK and STATE print a value; BOOT ends the program; the rest are templates, filled by ``%``
with values as ``repr`` has them.
"""

SURVEY = """\
import os, sys
i = sys.implementation
print(repr((i.name, i.version[:3], getattr(i, '_machine', ''), getattr(i, '_mpy', 0) & 255,
    any(n in os.listdir() for n in ('board_local.py', 'board_local.mpy')))))
"""

LOOK = """\
import os, hashlib, binascii
found = {}
def take(path):
    h = hashlib.sha256()
    buf = bytearray(512)
    with open(path, 'rb') as f:
        while True:
            n = f.readinto(buf)
            if not n:
                break
            h.update(memoryview(buf)[:n])
    found[path] = binascii.hexlify(h.digest()).decode()
def walk(path):
    for entry in os.ilistdir(path):
        inner = path + '/' + entry[0]
        if entry[1] & 0x4000:
            walk(inner)
        else:
            take(inner)
for name in os.listdir():
    if name in ('fw_a', 'fw_b'):
        walk(name)
    elif name in ('main.py', 'main.new'):
        take(name)
def said(path):
    try:
        with open(path, 'rb') as f:
            return f.read(8).decode()
    except (OSError, ValueError):
        return ''
print(repr((said('active'), said('trial'), found)))
"""

FOLDER = """\
import os
for path in %r:
    try:
        os.mkdir(path)
    except OSError:
        pass
"""

REMOVE = "import os\nfor path in %r:\n    os.remove(path)\n"

COPY = """\
buf = bytearray(512)
with open(%r, 'rb') as old, open(%r, 'wb') as new:
    while True:
        n = old.readinto(buf)
        if not n:
            break
        new.write(memoryview(buf)[:n])
"""

IMPORT = """\
import gc, sys
sys.path.insert(0, %r)
fault = ''
try:
    import begin
    broken = getattr(begin, 'broken', None)
    if broken:
        raise broken
except Exception as error:
    fault = '%%s: %%s' %% (type(error).__name__, error)
sys.path.pop(0)
for name in list(sys.modules):
    if name.split('.')[0] in ('begin', 'box', 'boards', 'handbell_core'):
        del sys.modules[name]
begin = None
gc.collect()
print(repr(fault))
"""

RENAME = "import os\nos.rename(%r, %r)\n"

# A small file, whole or as it was before.
KEEP = """\
import os
with open(%r, 'wb') as f:
    f.write(%r)
os.rename(%r, %r)
"""

# What main.py said of a trial before is not of the next one.
FORGET = """\
import os
for path, what in (('trial', b''), ('trouble.txt', b' on trial')):
    try:
        with open(path, 'rb') as f:
            is_one = what in f.read(16)
        if is_one:
            os.remove(path)
    except OSError:
        pass
"""

STATE = """\
import os, sys
def read(path):
    try:
        with open(path) as f:
            return f.read(8)
    except (OSError, ValueError):
        return ''
try:
    from image_name import NAME
except ImportError:
    NAME = ''
try:
    runs = len([n for n in os.listdir('runs') if n.endswith('.hbj')])
except OSError:
    runs = 0
print(repr((getattr(sys.implementation, '_machine', ''), NAME, read('active'), runs)))
"""

BOOT = "import machine, time\ntime.sleep_ms(100)\nmachine.bootloader()\n"
