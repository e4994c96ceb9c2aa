"""How many processes a study's solves may share this machine among."""

from __future__ import annotations

from fem.cores import cores
from fem.memory import available_memory
from fem.part.meshing import BYTES_PER_UNKNOWN
from fem.processes import PROCESS_BYTES


def sensible_jobs(unknowns: int) -> int:
    """As many processes as there are cores for this one, and memory for them with so many unknowns each."""
    room = int(0.8 * available_memory() / (BYTES_PER_UNKNOWN * unknowns + PROCESS_BYTES))
    return max(1, min(cores(), room))


def allowed_jobs(asked: int | None, *, unknowns: int) -> tuple[int, str]:
    """As many processes as were asked for (None: as many as are sensible), held against cores and memory.

    The second is a sentence that says why it is fewer, "" where it is not.
    """
    most = sensible_jobs(unknowns)
    if asked is None or asked <= most:
        return (asked or most), ""
    memory = f"there is {available_memory() / 1e9:.1f} GB of free memory"
    why = memory if most < cores() else f"there {'is one core' if most == 1 else f'are {most} cores'}"
    return most, f"{asked:,} processes were asked for; {most} {'works' if most == 1 else 'work'}: {why}."
