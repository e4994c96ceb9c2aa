"""The round openings that a bolt passes through or is screwed into, found from the faces that a study names."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fem.errors import FaceError
from fem.part.faces import FaceGroup, describe
from fem.part.tetmesh import TetMesh
from fem.tensors import Array, unit

SQUARE = 0.9995
"""Cosine of the angle (1.8 degrees) up to which a hole counts as square to the plane that it opens in."""
COAXIAL = 0.05
"""Distance of two axes, over the radius, up to which their cylinders are one bore."""


@dataclass(frozen=True)
class Opening:
    """A round hole of a `body`: `axis` (3,) out of the face that was named, of a bore either way; `at` (3,) [mm] on
    the axis, in that face or in the middle of the bore; its `radius` and `depth` [mm]. `in_plane` tells whether a
    plane was named, `faces` (indices) are the bore's.
    """

    body: str
    axis: Array
    at: Array
    radius: float
    depth: float
    in_plane: bool
    faces: tuple[int, ...]

    def ends(self) -> Array:
        """Both ends (2, 3) [mm] of a bore on its axis."""
        return self.at + np.array([[-0.5], [0.5]]) * self.depth * self.axis


def openings(mesh: TetMesh, group: FaceGroup, *, where: str) -> list[Opening]:
    """The holes of a group of faces: the bores themselves where it names cylinders, or those that open in its planes.

    Errors: FaceError for a face that is neither, or in which no hole opens.
    """
    named = [mesh.faces[i] for i in group.faces]
    if all(face.kind == "cylinder" and face.hole for face in named):
        return [_bore(mesh, bundle) for bundle in _bores(mesh, group.faces)]
    for face in named:
        if face.normal is None:
            raise FaceError(
                f"{describe(face)} is neither a plane with a hole nor a round hole.",
                where=where,
                advice="Name the plane around the hole, or the hole itself.",
            )
    out = [found for i in group.faces for found in _in_plane(mesh, i)]
    if not out:
        raise FaceError(
            f"no round hole opens in {describe(named[0])}.",
            where=where,
            advice="Name the plane around the hole, or the hole itself.",
        )
    return out


def _in_plane(mesh: TetMesh, index: int) -> list[Opening]:
    """The holes that open in a plane."""
    plane = mesh.faces[index]
    assert plane.normal is not None
    edge = set(mesh.nodes_of((index,)).tolist())
    holes = [
        i
        for i, face in enumerate(mesh.faces)
        if face.hole and face.kind == "cylinder" and face.body == plane.body and face.axis is not None
        and abs(face.axis @ plane.normal) > SQUARE and edge & set(mesh.nodes_of((i,)).tolist())
    ]  # fmt: skip
    out = []
    for bundle in _bores(mesh, holes):
        bore = _bore(mesh, bundle)
        up = float((plane.centre - bore.at) @ plane.normal)
        if up <= 0:  # the wall of a counterbore around the plane
            continue
        at = bore.at + up * plane.normal
        out.append(Opening(plane.body, unit(plane.normal), at, bore.radius, bore.depth, True, bore.faces))
    return out


def _bores(mesh: TetMesh, faces: Sequence[int]) -> list[list[int]]:
    """Cylinders that are one bore, together: many programs draw it as two halves."""
    out: list[list[int]] = []
    for i in faces:
        for bundle in out:
            if _one_bore(mesh, bundle[0], i):
                bundle.append(i)
                break
        else:
            out.append([i])
    return out


def _one_bore(mesh: TetMesh, first: int, second: int) -> bool:
    a, b = mesh.faces[first], mesh.faces[second]
    assert a.axis is not None and b.axis is not None and a.origin is not None and b.origin is not None
    off = b.origin - a.origin
    apart = float(np.linalg.norm(off - (off @ a.axis) * a.axis))
    same = a.body == b.body and abs(float(a.axis @ b.axis)) > SQUARE and apart < COAXIAL * (a.radius or 1.0)
    return same and abs((a.radius or 0) - (b.radius or 0)) < COAXIAL * (a.radius or 1.0)


def _bore(mesh: TetMesh, bundle: Sequence[int]) -> Opening:
    face = mesh.faces[bundle[0]]
    assert face.axis is not None and face.origin is not None and face.radius is not None
    axis = unit(face.axis)
    along = (mesh.nodes[mesh.nodes_of(tuple(bundle))] - face.origin) @ axis
    low, high = float(along.min()), float(along.max())
    middle = face.origin + (low + high) / 2 * axis
    return Opening(face.body, axis, middle, float(face.radius), high - low, False, tuple(bundle))
