"""The solids of one file: which there are, what touches what, and which one is meant."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fem.errors import SeveralSolidsError, SolidError, nearest
from fem.tensors import Array

MOST_LISTED = 20
"""So many solids are listed in one message."""


@dataclass(frozen=True)
class FileSolid:
    """One solid of a file: `number` from one, `name` in the file or "", `volume` [mm^3], `box` (2, 3) [mm];
    `touches` and `overlaps` are the numbers of the solids that it touches, or shares volume with; `measured` is false
    where not all neighbours were looked at.
    """

    number: int
    name: str
    volume: float
    box: Array
    touches: tuple[int, ...] = ()
    overlaps: tuple[int, ...] = ()
    measured: bool = True

    @property
    def label(self) -> str:
        """The number, and the name where there is one."""
        return f'{self.number} "{self.name}"' if self.name else str(self.number)

    @property
    def size(self) -> str:
        """The box in words."""
        return " x ".join(f"{v:.4g}" for v in self.box[1] - self.box[0]) + " mm"

    @property
    def contact(self) -> str:
        """What it touches, in words."""
        said = [f"{word} {', '.join(map(str, which))}" for word, which in self._contacts if which]
        said += [] if self.measured or not said else ["others not measured"]
        return ", ".join(said) or ("touches nothing" if self.measured else "not measured")

    @property
    def _contacts(self) -> tuple[tuple[str, tuple[int, ...]], ...]:
        return ("touches", self.touches), ("overlaps", self.overlaps)


def listed(solids: Sequence[FileSolid]) -> str:
    """All solids in one line."""
    each = [f"{s.label} ({s.volume:,.4g} mm³, {s.size}, {s.contact})" for s in solids[:MOST_LISTED]]
    more = [f"and {len(solids) - MOST_LISTED} more"] if len(solids) > MOST_LISTED else []
    return "; ".join(each + more)


def refuse_several(solids: Sequence[FileSolid], *, where: str, advice: str) -> None:
    """Errors: SeveralSolidsError, which lists the solids."""
    raise SeveralSolidsError(
        f"it holds {len(solids)} solids: {listed(solids)}.",
        where=where,
        advice=f"Say which one is meant, part = 2 or part = its name, or {advice}.",
    )


def chosen(names: Sequence[str], part: int | str, *, where: str) -> int:
    """Index of the solid that `part` means, a number from one or a name, among solids of these `names`.

    Errors: SolidError when there is none, or several of that name.
    """
    if isinstance(part, int) and not isinstance(part, bool):
        if not 1 <= part <= len(names):
            held = "one solid" if len(names) == 1 else f"{len(names)} solids, numbers 1 to {len(names)}"
            raise SolidError(f"there is no part {part}: the file holds {held}.", where=where)
        return part - 1
    hits = [i for i, name in enumerate(names) if name == part]
    if len(hits) == 1:
        return hits[0]
    if hits:
        numbers = ", ".join(str(i + 1) for i in hits)
        raise SolidError(
            f"{len(hits)} solids are named {part!r}.", where=where, advice=f"Give a number instead: {numbers}."
        )
    known = [name for name in names if name]
    held = f"{len(names)} solids" if len(names) > 1 else "one solid"
    raise SolidError(
        f"no solid is named {part!r}.",
        where=where,
        advice=nearest(str(part), known) if known else f"The file names none; it holds {held}, numbered from 1.",
    )
