"""`python -m linktool`."""

import sys

from linktool.cli import main

sys.exit(main())
