"""A comparison as a file: comparison.json, which a report made later reads back."""

from __future__ import annotations

from pathlib import Path

from fem.errors import InputError
from fem.judging.choice import Comparison
from fem.judging.sealed import SealBroken, plain, read_sealed, typed, write_sealed


def write_choice(comparison: Comparison, path: Path) -> Path:
    """Write comparison.json beside its place and rename it there. Errors: OSError."""
    return write_sealed(plain(comparison), path)


def read_choice(path: Path) -> Comparison:
    """The comparison that `write_choice` wrote. Errors: InputError when the file holds none, or is damaged."""
    advice = "Run beadwork compare again."
    try:
        found: Comparison = typed(Comparison, read_sealed(path))
    except SealBroken as broken:
        raise InputError(f"this file {broken}.", where=str(path), advice=advice) from None
    except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
        raise InputError("this is no comparison that Beadwork wrote.", where=str(path), advice=advice) from None
    return found
