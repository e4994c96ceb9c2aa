"""The fields of a solved part at points of one's own choice, and along lines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fem.errors import InputError
from fem.judging.scene import CaseFields
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array, von_mises
from fem.zooming.where import Locator

ON_SURFACE = 0.03
"""A point outside the mesh by less than this share of an edge there lies on the surface: a curved face bulges out of
the triangles from which distances are measured by r θ²/32 for an edge r θ long, 0.03 of it for θ of 55 degrees."""
LEAST_RESERVE = 1e-12
"""Reserve factors below this are as good as none."""
OUTSIDE = ("error", "nan")


@dataclass(frozen=True)
class Values:
    """A case's fields at `points` (k, 3) [mm]: `displacement` (k, 3) [mm], `stress` (k, 6) [MPa] in part axes
    (xx yy zz yz xz xy), `reserve` (k,), `body` (k,) the name of the body in which each point lies, "" for a point
    outside (`inside` (k,) is false there, and its numbers are nan).

    Displacement is the solution itself, of second order in each tetrahedron; stress and reserve factor are those of
    the nodes around, between them of second order too. Where zones meet, nodes bear the stress of the zone in which
    they lie: between a wall and its core the values change over an edge of the mesh, and `CaseOutcome.zone` tells
    them apart.
    """

    points: Array
    displacement: Array
    stress: Array
    reserve: Array
    body: tuple[str, ...]
    inside: NDArray[np.bool_]

    @property
    def distance(self) -> Array:
        """How far (k,) [mm] each point lies from the first one: the abscissa of a plot along a line."""
        return np.asarray(np.linalg.norm(self.points - self.points[0], axis=1))

    @property
    def von_mises(self) -> Array:
        """Von Mises stress (k,) [MPa]."""
        return von_mises(self.stress)


class Probe:
    """Finds points in a mesh, whichever body they lie in; what it needs of a body is made once."""

    def __init__(self, mesh: TetMesh) -> None:
        self.mesh = mesh

    @cached_property
    def _bodies(self) -> tuple[Locator, ...]:
        return tuple(Locator(self.mesh, body) for body in self.mesh.bodies)

    def values(self, fields: CaseFields, points: Any, *, outside: str = "error") -> Values:
        """The fields at points (k, 3) [mm]. Errors: InputError for points that are none, and for points outside the
        part unless `outside` is "nan".
        """
        where = _checked(points, outside)
        nodes, shape, body = self._found(where)
        inside = body >= 0
        if not inside.all() and outside == "error":
            raise _left_out(where[~inside], len(where), self.mesh)
        reserve = _reserve(fields.reserve[nodes], shape)
        displacement, stress = (
            np.einsum("ka,kac->kc", shape, field[nodes]) for field in (fields.displacement, fields.stress)
        )
        for each in (reserve, displacement, stress):
            each[~inside] = np.nan
        names = tuple(self.mesh.bodies[b] if b >= 0 else "" for b in body)
        return Values(where, displacement, stress, reserve, names, inside)

    def _found(self, points: Array) -> tuple[Index, Array, Index]:
        """The nodes (k, 10) around each point, their weights (k, 10), and its body (k,), -1 outside."""
        body, away = np.full(len(points), -1), np.full(len(points), np.inf)
        nodes, shape = np.zeros((len(points), 10), dtype=np.int64), np.zeros((len(points), 10))
        for number, locator in enumerate(self._bodies):
            margin = ON_SURFACE * float(self.mesh.edge_length[locator.numbers].max())
            low, high = locator.extent(np.eye(3))
            near = np.flatnonzero(((points >= low - margin) & (points <= high + margin)).all(axis=1))
            found = locator.find(points[near])
            nearer = (found.away <= ON_SURFACE * self.mesh.edge_length[found.tet]) & (found.away < away[near])
            body[near[nearer]], away[near[nearer]] = number, found.away[nearer]
            nodes[near[nearer]], shape[near[nearer]] = found.nodes[nearer], found.shape[nearer]
        return nodes, shape, body


def line_points(start: Sequence[float] | Array, end: Sequence[float] | Array, n: int) -> Array:
    """`n` points (n, 3) [mm], evenly from `start` to `end`, both included. Errors: InputError."""
    if n < 2:
        raise InputError(f"a line needs at least two points, not {n}.")
    ends = _checked([start, end], "error")
    return np.linspace(ends[0], ends[1], n)


def _checked(points: Any, outside: str) -> Array:
    if outside not in OUTSIDE:
        raise InputError(f"outside={outside!r} is not known.", advice=f"There are: {', '.join(OUTSIDE)}.")
    try:
        where = np.atleast_2d(np.asarray(points, dtype=float))
    except (TypeError, ValueError):
        where = np.zeros((0, 0))
    if where.ndim != 2 or where.shape[1] != 3 or not np.isfinite(where).all():
        raise InputError("points are rows of three finite numbers, x, y, z in mm.")
    return np.ascontiguousarray(where)


def _left_out(points: Array, count: int, mesh: TetMesh) -> InputError:
    first = ", ".join(f"{v:.4g}" for v in points[0])
    low, high = (", ".join(f"{v:.4g}" for v in corner) for corner in mesh.box)
    return InputError(
        f"{len(points)} of {count} points lie{'s' if len(points) == 1 else ''} outside the part, the first at "
        f"({first}) mm; the part reaches from ({low}) to ({high}) mm.",
        advice='Give points inside, or outside="nan" for nan there.',
    )


def _reserve(reserve: Array, shape: Array) -> Array:
    """Reserve factors (k,) between the nodes (k, 10): of second order in 1 / reserve, which grows as stress does and
    is 0 where nothing grows, and never beyond those of the nodes; 0 beside a node that has none.
    """
    used = 1 / np.maximum(reserve, LEAST_RESERVE)
    between = np.clip((shape * used).sum(axis=1), used.min(axis=1), used.max(axis=1))
    with np.errstate(divide="ignore"):
        return np.where((reserve <= LEAST_RESERVE).any(axis=1), 0.0, 1 / between)
