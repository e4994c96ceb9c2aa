"""Makes the helpers of this folder importable from every room's tests, and keeps broken pipes harmless to them."""

import os
import signal
import sys
from pathlib import Path

import pytest

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture(autouse=True)
def broken_pipes_are_errors():
    """gmsh, which tests draw with, leaves SIGPIPE deadly: a child that goes would take the test run with it."""
    if hasattr(signal, "SIGPIPE"):
        signal.signal(signal.SIGPIPE, signal.SIG_IGN)
    yield
