"""The curved triangles of a CAD solid, all looking outward: what its faces are measured by, and drawn with.

A face of the kernel is a piece of a surface within borders. A point in the middle of its parameters may lie outside
these borders, and the direction in which its parameters turn says nothing of where the material is. Triangles know
both: they lie on the face, and together they close the solid.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fem.errors import SolidError
from fem.part.quadrature import curved_points
from fem.tensors import Array

Ints = NDArray[np.int64]
COARSE = 10
"""Triangles along the longest side; where faces curve there are more, down to a tenth of that size."""
ROUND, ROUND_IF_FLAT = 12, 16
"""Triangles around a full turn of a curved face, curved ones and flat ones."""
AGREES = 0.02
"""Share by which volume and area of the triangles may miss the kernel's own (curved triangles miss by some 1e-4)."""
FLAT = 1e-3
"""Share by which triangles of a plane may be larger than their shadow on it."""
_DAMAGED = "The file is damaged, or faces cross or are turned; repair the solid and export it again."
ELEMENTARY = ("Plane", "Cylinder", "Cone", "Sphere", "Torus")
"""Surfaces on which the kernel finds the middle of a curved side at once; on splines it may take minutes."""


@dataclass(frozen=True)
class Skin:
    """Second-order triangles of each face: `nodes` (n, 3) [mm], `triangles` one (k, 6) for each face."""

    nodes: Array
    triangles: tuple[Ints, ...]

    def corners(self, face: int) -> Array:
        """Nodes (k, 6, 3) [mm] of one face's triangles."""
        return np.asarray(self.nodes[self.triangles[face]])

    def area_vector(self, face: int) -> Array:
        """Integral (3,) [mm^2] of the outward normal over one face."""
        _, weight, normal = curved_points(self.corners(face))
        return np.einsum("kq,kqi->i", weight, normal)


def outward_skin(gmsh: Any, tags: list[int], *, set_sizes: Any, volume: float, where: str) -> Skin:
    """Triangles of the faces `tags` of the session's one solid, outward; `volume` [mm^3] is what the kernel finds.

    They must agree with the kernel. A check that fails is made once more with triangles a third as large.
    Errors: SolidError where a face cannot be filled with triangles, or these enclose another volume or area.
    """
    box = np.reshape(gmsh.model.getBoundingBox(-1, -1), (2, 3))
    length = float((box[1] - box[0]).max())
    wanted = np.array([gmsh.model.occ.getMass(2, tag) for tag in tags])
    curved = all(gmsh.model.getType(2, tag) in ELEMENTARY for tag in tags)
    found, area, slack, odd = 0.0, 0.0, 0.0, None
    for finer in (1, 3):
        set_sizes(gmsh, size=length / (COARSE * finer), finest=length / (10 * COARSE * finer))
        gmsh.option.setNumber("Mesh.MeshSizeFromCurvature", (ROUND if curved else ROUND_IF_FLAT) * finer)
        # Small sizes at an edge need not reach into the face, and the shape of the triangles does not matter
        gmsh.option.setNumber("Mesh.MeshSizeExtendFromBoundary", 0)
        gmsh.option.setNumber("Mesh.Algorithm", 5)
        try:
            gmsh.model.mesh.clear()
            gmsh.model.mesh.generate(2)
            if curved:
                gmsh.model.mesh.setOrder(2)
        except Exception as error:
            if finer == 1:
                continue
            raise SolidError(
                f"its surface cannot be covered with triangles ({str(error).strip() or 'no reason given'}).",
                where=where,
                advice="Repair the solid where it was drawn and export it again.",
            ) from error
        skin = _collected(gmsh, tags, curved=curved)
        empty = [tag for tag, own in zip(tags, skin.triangles, strict=True) if not len(own)]
        if not empty:
            skin = _turned_outward(skin)
            found = sum(_volume(skin, f) for f in range(len(tags)))
            areas = np.array([float(curved_points(skin.corners(f))[1].sum()) for f in range(len(tags))])
            area = float(areas.sum())
            slack = 0.0 if curved else _left_out(gmsh, tags, skin)
            same = abs(found - volume) <= AGREES * abs(volume) + slack
            if same and abs(area - wanted.sum()) <= AGREES * wanted.sum():
                odd = _odd_face(gmsh, tags, skin, areas=areas, wanted=wanted)
                if odd is None:
                    return skin
    if empty:
        raise SolidError(f"its face {empty[0]} cannot be covered with triangles.", where=where, advice="Repair it.")
    if odd is not None:
        raise SolidError(f"its face {odd} contradicts its own borders.", where=where, advice=_DAMAGED)
    raise SolidError(
        f"it contradicts itself: the kernel finds {volume:.5g} mm³ and {wanted.sum():.5g} mm² of surface, its own "
        f"triangles {found:.5g} mm³ and {area:.5g} mm².",
        where=where,
        advice=_DAMAGED,
    )


def _odd_face(gmsh: Any, tags: list[int], skin: Skin, *, areas: Array, wanted: Array) -> int | None:
    """The first face whose triangles have another area than the kernel finds, or leave the plane that it is."""
    for face, tag in enumerate(tags):
        slack = 1e-4 * float(wanted.sum())
        if abs(areas[face] - wanted[face]) > AGREES * wanted[face] + slack:
            return tag
        flat = gmsh.model.getType(2, tag) == "Plane"
        if flat and np.linalg.norm(skin.area_vector(face)) < (1 - FLAT) * areas[face] - 0.01 * slack:
            return tag
    return None


def _left_out(gmsh: Any, tags: list[int], skin: Skin) -> float:
    """Volume [mm^3] that flat triangles may leave out or add: under a chord of a full turn's n-th part, of length h,
    lies an arc of height h pi / (4 n).
    """
    total = 0.0
    for face, tag in enumerate(tags):
        if gmsh.model.getType(2, tag) != "Plane":
            corner = skin.corners(face)
            sides = np.linalg.norm(corner[:, [1, 2, 0]] - corner[:, :3], axis=2)
            total += float((curved_points(corner)[1].sum(axis=1) * sides.max(axis=1)).sum())
    return total * np.pi / (4 * ROUND_IF_FLAT)


def _collected(gmsh: Any, tags: list[int], *, curved: bool) -> Skin:
    numbers, coordinates, _ = gmsh.model.mesh.getNodes()
    place = np.full(int(numbers.max()) + 1, -1, dtype=np.int64)
    place[numbers.astype(np.int64)] = np.arange(len(numbers))
    each = []
    for tag in tags:
        _, nodes = gmsh.model.mesh.getElementsByType(9 if curved else 2, tag)
        each.append(place[nodes.astype(np.int64)].reshape(-1, 6 if curved else 3))
    points = np.asarray(coordinates).reshape(-1, 3)
    return Skin(points, tuple(each)) if curved else _with_middles(points, each)


def _with_middles(points: Array, triangles: list[Ints]) -> Skin:
    """Flat triangles (k, 3) with the middles of their sides."""
    sides = [np.sort(own[:, [[0, 1], [1, 2], [0, 2]]].reshape(-1, 2), axis=1) for own in triangles]
    edges, back = np.unique(np.concatenate(sides), axis=0, return_inverse=True)
    middle = np.split(len(points) + back.reshape(-1, 3), np.cumsum([len(own) for own in triangles])[:-1])
    both = tuple(np.concatenate([own, add], axis=1) for own, add in zip(triangles, middle, strict=True))
    return Skin(np.concatenate([points, points[edges].mean(axis=1)]), both)


def _turned_outward(skin: Skin) -> Skin:
    """The same triangles, faces turned as a whole so that all look out of the material.

    Faces that meet at an edge run along it in opposite directions; of the closed shells that this makes the
    largest is the outer one, and those inside it are cavities.
    """
    agree, shells = _consistent(skin.triangles)
    turned = [own if keep else own[:, [0, 2, 1, 5, 4, 3]] for own, keep in zip(skin.triangles, agree, strict=True)]
    out = Skin(skin.nodes, tuple(turned))
    volume = np.array([_volume(out, f) for f in range(len(turned))])
    total = np.bincount(shells, volume)
    outer = int(np.abs(total).argmax())
    boxes = [_box(out, np.flatnonzero(shells == s)) for s in range(len(total))]
    for s, (low, high) in enumerate(boxes):
        inside = s != outer and (low > boxes[outer][0]).all() and (high < boxes[outer][1]).all()
        if (total[s] > 0) == inside:
            for f in np.flatnonzero(shells == s):
                turned[f] = turned[f][:, [0, 2, 1, 5, 4, 3]]
    return Skin(skin.nodes, tuple(turned))


def _consistent(triangles: tuple[Ints, ...]) -> tuple[NDArray[np.bool_], Ints]:
    """Which faces keep their direction so that neighbours agree, and the shell of each face."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    n = len(triangles)
    corner = np.concatenate([own[:, :3] for own in triangles])
    owner = np.repeat(np.arange(n), [3 * len(own) for own in triangles])
    directed = np.stack([corner, np.roll(corner, -1, axis=1)], axis=2).reshape(-1, 2)
    key = np.sort(directed, axis=1)
    order = np.lexsort((key[:, 1], key[:, 0]))
    key, directed, owner = key[order], directed[order], owner[order]
    first = np.flatnonzero(np.r_[True, (np.diff(key, axis=0) != 0).any(axis=1)])
    pairs = first[np.diff(np.r_[first, len(key)]) == 2]
    same = (directed[pairs] == directed[pairs + 1]).all(axis=1)
    i, j = owner[pairs], owner[pairs + 1]
    # Each face stands twice, as it is and turned; those that can be joined without conflict lie in one component
    rows, columns = np.r_[i, i + n], np.r_[np.where(same, j + n, j), np.where(same, j, j + n)]
    apart = np.r_[i, i + n] % n != columns % n
    graph = coo_matrix((np.ones(apart.sum()), (rows[apart], columns[apart])), shape=(2 * n, 2 * n))
    _, colour = connected_components(graph, directed=False)
    _, shells = np.unique(np.minimum(colour[:n], colour[n:]), return_inverse=True)
    return colour[:n] <= colour[n:], shells.reshape(-1).astype(np.int64)


def _volume(skin: Skin, face: int) -> float:
    points, weight, normal = curved_points(skin.corners(face))
    return float((weight * ((points - skin.nodes[0]) * normal).sum(axis=2)).sum() / 3)


def _box(skin: Skin, faces: Ints) -> tuple[Array, Array]:
    points = skin.nodes[np.unique(np.concatenate([skin.triangles[f].ravel() for f in faces]))]
    return points.min(axis=0), points.max(axis=0)
