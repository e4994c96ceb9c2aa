"""`python -m fem.cli`."""

import sys

from fem.cli import main

sys.exit(main())
