"""The simulation's modules and the virtual boxes' rig lie beside the tests."""

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
for folder in (HERE, HERE.parent / "device"):
    if str(folder) not in sys.path:
        sys.path.insert(0, str(folder))
