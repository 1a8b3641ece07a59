"""``python -m pupawatch``."""

import sys

from pupawatch.cli import main

sys.exit(main())
