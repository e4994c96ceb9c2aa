"""Faces of a CAD solid split along the sides of boxes, so that the mesh follows the border of a cut."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from fem.part.solid import Cut


def split_faces(gmsh: Any, owners: list[tuple[int, int]], cuts: Sequence[Cut]) -> list[tuple[int, int]]:
    """Split faces of the session's solid by boxes.

    `owners` is (face tag, id of the face as read). Returns the same for the faces after splitting, pieces in place of
    the whole. Where the kernel cannot split a face it stays whole, and the mesh decides triangle by triangle.
    """
    for cut in cuts:
        for face in cut.faces:
            tags = [tag for tag, own in owners if own == face]
            for tag in tags:
                owners = _split_one(gmsh, tag, cut, owners)
    return owners


def _split_one(gmsh: Any, tag: int, cut: Cut, owners: list[tuple[int, int]]) -> list[tuple[int, int]]:
    occ = gmsh.model.occ
    low, high = np.asarray(cut.low, dtype=float), np.asarray(cut.high, dtype=float)
    inside = np.reshape(gmsh.model.getBoundingBox(2, tag), (2, 3))
    if (inside[0] > high).any() or (inside[1] < low).any():
        return owners
    # The box ends beyond the face where the face does not reach past it: faces that coincide are a gamble
    near, far = 1e-6 + 1e-7 * np.ptp(inside), 1.0 + np.ptp(inside)
    low = np.where(inside[0] >= low - near, inside[0] - far, low)
    high = np.where(inside[1] <= high + near, inside[1] + far, high)
    solid = occ.getEntities(3)
    before = _sizes(gmsh, [t for t, _ in owners])
    kept = occ.copy([(2, tag)])
    try:
        patch, _ = occ.intersect(kept, [(3, occ.addBox(*low, *(high - low)))])
        patch = [p for p in patch if p[0] == 2]
        if not patch:
            return owners
        area = sum(occ.getMass(*p) for p in patch)
        whole = occ.getMass(2, tag)
        if area > (1 - 1e-9) * whole:
            return owners
        faces = [(2, t) for t, _ in owners]
        _, found = occ.fragment([*solid, *faces], patch)
        occ.synchronize()
    except Exception:  # gmsh reports every failure as a bare Exception
        return owners
    finally:
        _sweep(gmsh)
    return _renamed(gmsh, owners, before, tag, found[len(solid) :])


def _sweep(gmsh: Any) -> None:
    """Remove the surfaces that bound no solid."""
    occ = gmsh.model.occ
    occ.synchronize()
    bound = {tag for _, tag in gmsh.model.getBoundary(occ.getEntities(3), combined=False, oriented=False)}
    loose = [(2, tag) for _, tag in occ.getEntities(2) if tag not in bound]
    if loose:
        occ.remove(loose, recursive=True)
    occ.synchronize()


def _sizes(gmsh: Any, tags: list[int]) -> np.ndarray:
    """Area, centre and box (k, 10) of faces: what tells them again after the kernel has numbered anew."""
    occ = gmsh.model.occ
    return np.array([[occ.getMass(2, t), *occ.getCenterOfMass(2, t), *gmsh.model.getBoundingBox(2, t)] for t in tags])


def _renamed(
    gmsh: Any, owners: list[tuple[int, int]], before: np.ndarray, split: int, found: list[Any]
) -> list[tuple[int, int]]:
    """Who is who after a fragmentation: pieces by the kernel's own record, untouched faces by place and size."""
    now = [tag for _, tag in gmsh.model.getEntities(2)]
    pieces = {tag for (old, _), after in zip(owners, found, strict=False) if old == split for _, tag in after}
    rest = [tag for tag in now if tag not in pieces]
    sizes = _sizes(gmsh, rest)
    near = 1e-6 * np.ptp(before[:, 4:])
    out = []
    for (old, own), was in zip(owners, before, strict=True):
        if old == split:
            out += [(tag, own) for tag in sorted(pieces)]
            continue
        off = np.abs(sizes - was)
        off[:, 0] /= max(np.sqrt(was[0]), near)
        out.append((rest[int(off.max(axis=1).argmin())], own))
    if len({tag for tag, _ in out}) != len(out) or len(out) != len(now):
        raise ValueError("faces were lost in splitting")
    return out
