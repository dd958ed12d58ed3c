"""``python -m meter``: the command line."""

import sys

from meter.cli import main

sys.exit(main())
