"""``python -m ui``: the command line, with the window."""

import sys

from ui.entry import main

sys.exit(main())
