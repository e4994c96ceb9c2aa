"""What the pictures of a zoom are called."""

from __future__ import annotations

from fem.telling.words import plain_name


def bead_files(case: str, rank: int) -> tuple[str, str]:
    """The files of the two pictures of a case's zoom, counted from one: the beads cut open, and their layer."""
    return f"beads_{plain_name(case)}_{rank}.png", f"bead_layer_{plain_name(case)}_{rank}.png"
