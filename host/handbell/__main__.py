"""``python -m handbell`` is ``handbell``."""

import sys

from handbell.cli.main import main

if __name__ == "__main__":
    sys.exit(main())
