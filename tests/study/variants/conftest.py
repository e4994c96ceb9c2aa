"""One bar and its infill cells for all tests of this room."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import bars


@pytest.fixture(scope="session")
def bar(tmp_path_factory):
    return bars.put_into(tmp_path_factory.mktemp("bar"))


@pytest.fixture
def own(bar, tmp_path):
    """A folder of a test's own with the bar in it."""
    for name in ("bar.step", "even.toml"):
        (tmp_path / name).write_bytes((bar / name).read_bytes())
    return tmp_path
