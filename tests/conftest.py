"""Makes the helpers of this folder importable from every room's tests."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
