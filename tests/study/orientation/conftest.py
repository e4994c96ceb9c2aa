"""Makes the helpers of this folder importable, and scans without their page, which takes longer than a small scan."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture(scope="module")
def no_page():
    """Scans write no page."""
    import fem.telling.orientation

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(fem.telling.orientation, "write_orientation", lambda scan, *, folder: folder / "none.html")
        yield
