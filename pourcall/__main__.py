"""`python -m pourcall`, the same as the command `pourcall`."""

import sys

from pourcall.cli.main import main

sys.exit(main())
