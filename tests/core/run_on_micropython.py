"""Runs the shared core tests under MicroPython: micropython run_on_micropython.py MODULE..."""

import sys

failed = passed = 0
for name in sys.argv[1:]:
    module = __import__(name)
    for attribute in sorted(dir(module)):
        if not attribute.startswith("test_"):
            continue
        try:
            getattr(module, attribute)()
            passed += 1
        except Exception as error:
            failed += 1
            print("FAILED", name, attribute)
            sys.print_exception(error)
print("passed", passed, "failed", failed)
sys.exit(1 if failed else 0)
