"""`python -m linktool`."""

import sys

from linktool.cli import console

sys.exit(console())
