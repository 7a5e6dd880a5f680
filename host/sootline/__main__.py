"""`python -m sootline`."""

import sys

from sootline.cli import main

sys.exit(main())
