"""``python -m meter``: the command line."""

import sys

try:
    from meter.cli import main

    sys.exit(main())
except KeyboardInterrupt:  # while it was still starting: later it is seen to in there
    print("\nstopped", file=sys.stderr)
    sys.exit(130)
