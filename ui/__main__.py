"""``python -m ui``: the command line, with the window."""

import sys

try:
    from ui.entry import main

    sys.exit(main())
except KeyboardInterrupt:  # while it was still starting: later it is seen to in there
    print("\nstopped", file=sys.stderr)
    sys.exit(130)
