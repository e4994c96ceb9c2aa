"""Which of the CAD file's solids is meant; what touches what."""

from __future__ import annotations

import re
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np

from fem.errors import SolidError
from fem.part.drawn.step_names import named_corners, names_by_corners
from fem.part.several import FileSolid, chosen, refuse_several
from fem.tensors import Array

MOST_PAIRS = 200
"""So many pairs of solids with neighbouring boxes are measured for contact; a larger assembly lists no more."""
TOUCHING = 1e-4
"""Solids nearer than this share of the file's size, and those nearer than a micrometre, touch."""


def names_of(gmsh: Any, solids: list[int], file: Path) -> list[str]:
    """The name that the file gives each solid; "" for none.

    The kernel gives a path through the assembly; its last step is the product's name. What the kernel's own
    writer puts where no name was given counts as none; then the text of a STEP file is asked.
    """
    paths = [str(gmsh.model.getEntityName(3, tag)) for tag in solids]
    names = [path.rsplit("/", 1)[-1].strip() for path in paths]
    names = ["" if re.fullmatch(r"Open CASCADE STEP translator [\d. ]+|SOLID|=>.*", n) else n for n in names]
    if len(solids) > 1 and not all(names):
        found = names_by_corners([_corners(gmsh, tag) for tag in solids], named_corners(file))
        names = [name or other for name, other in zip(names, found, strict=True)]
    return names


def _corners(gmsh: Any, solid: int) -> Array:
    """Places (j, 3) [mm] of a solid's corners."""
    corners = gmsh.model.getBoundary([(3, solid)], combined=False, oriented=False, recursive=True)
    return np.array([gmsh.model.getValue(0, tag, []) for _, tag in corners]).reshape(-1, 3)


def keep_one(gmsh: Any, *, part: int | str | None, fused: bool, file: Path) -> tuple[FileSolid, ...]:
    """Leave one solid in the session: the only one, the one named by `part`, or all of them `fused`.

    Returns all solids that the file holds. Errors: SolidError when none is said and there are several (they are
    listed), when `part` is unknown, or when solids that do not touch are to be fused.
    """
    occ, where = gmsh.model.occ, str(file)
    solids = [tag for _, tag in occ.getEntities(3)]
    if part is not None and fused:
        raise SolidError("part and fused are both given.", where=where, advice="Give one of them.")
    if len(solids) == 1 and part is None:
        return facts_of(gmsh, solids, file)
    facts = facts_of(gmsh, solids, file)
    index = None if part is None else chosen([fact.name for fact in facts], part, where=where)
    if index is not None:
        others = [(3, tag) for i, tag in enumerate(solids) if i != index]
        if others:
            occ.remove(others, recursive=True)
    elif fused:
        occ.fuse([(3, solids[0])], [(3, tag) for tag in solids[1:]])
        left = len(occ.getEntities(3))
        if left > 1:
            raise SolidError(
                f"its {len(solids)} solids do not all touch: fused, they still are {left} pieces.",
                where=where,
                advice="Choose one with part = 1, or make each a body of its own.",
            )
    else:
        refuse_several(facts, where=where, advice="join them on purpose with fused = true")
    # Faces and curves that belonged to what is gone must not be taken for the solid's own
    occ.synchronize()
    kept = set(gmsh.model.getBoundary([(3, tag) for _, tag in occ.getEntities(3)], oriented=False))
    occ.remove([e for e in occ.getEntities(2) if e not in kept], recursive=True)
    return facts


def facts_of(gmsh: Any, solids: list[int], file: Path) -> tuple[FileSolid, ...]:
    """Number, name, volume, box and contacts of the session's solids."""
    names = names_of(gmsh, solids, file)
    boxes = [np.reshape(gmsh.model.occ.getBoundingBox(3, tag), (2, 3)) for tag in solids]
    touches: list[list[int]] = [[] for _ in solids]
    overlaps: list[list[int]] = [[] for _ in solids]
    near = max(1e-3, TOUCHING * float(np.ptp(np.concatenate(boxes), axis=0).max()) if len(solids) else 0.0)
    close = [
        (i, j)
        for i, j in combinations(range(len(solids)), 2)
        if (boxes[i][0] <= boxes[j][1] + near).all() and (boxes[j][0] <= boxes[i][1] + near).all()
    ]
    for i, j in close[:MOST_PAIRS]:
        kind = _contact(gmsh, solids[i], solids[j], near)
        for one, other in ((i, j), (j, i)):
            if kind:
                (overlaps if kind == "overlaps" else touches)[one].append(other + 1)
    return tuple(
        FileSolid(
            i + 1,
            names[i],
            float(gmsh.model.occ.getMass(3, tag)),
            boxes[i],
            tuple(touches[i]),
            tuple(overlaps[i]),
            measured=not any(i in pair for pair in close[MOST_PAIRS:]),
        )
        for i, tag in enumerate(solids)
    )


def _contact(gmsh: Any, one: int, other: int, near: float) -> str:
    """ "touches", "overlaps" or ""."""
    occ = gmsh.model.occ
    distance = occ.getDistance(3, one, 3, other)[0]
    if not 0 <= distance <= near:
        return ""
    shared, _ = occ.intersect([(3, one)], [(3, other)], removeObject=False, removeTool=False)
    volume = sum(occ.getMass(3, tag) for dim, tag in shared if dim == 3)
    occ.remove(shared, recursive=True)
    least = min(occ.getMass(3, one), occ.getMass(3, other))
    return "overlaps" if volume > 1e-6 * least else "touches"
