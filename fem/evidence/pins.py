"""A lug on its pin, both meshed, with and without clearance: half of a thin strip that ends square ahead of its hole.

The pin is held in its middle and the lug's far end pulled, so that nothing but the pin holds the lug.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fem.evidence.bricks import HIGH_X, HIGH_Y, LOW_X, LOW_Y, LOW_Z, block, growing
from fem.evidence.meeting import Met, each_of, meet, met, stacked, touching
from fem.evidence.nouns import CLOSED_FORM, Row
from fem.evidence.small_parts import group, node_stress, square_to
from fem.loading.loads import spread
from fem.loading.supports import held_face
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array, isotropic_stiffness

RADIUS, THICK = 5.0, 1.5
"""Of the hole and of the strip [mm]."""
LUG, PIN = (2000.0, 0.35), (210e3, 0.3)
"""Modulus [MPa] and Poisson's ratio."""
NIU = "Niu, Airframe Stress Analysis and Sizing, figure 7.7.25, in a public digitisation"
JOHNSON = "Johnson, Contact Mechanics (1985), section 4.2, plane stress"
READ_OFF = 1.677
"""The peak over F / (d h) of a lug three diameters wide."""
PULL = 150.0
"""[N]: 10 MPa over the hole's projected area."""


def lugs() -> Iterator[Row]:
    """The peak beside the hole of a closely fitting pin, and how a loose one touches."""
    factor, how = side_factor(lug_on_pin(3.0, pull=PULL)), "half, contact without friction"
    problem, note = "Lug 3 diameters wide on a pin that just fits: peak over F / (d h)", "read off a chart of tests"
    yield Row(problem, NIU, READ_OFF, factor, "1", how, 0.06, note)
    pull, clearance = loose_pull(0.15), 0.1
    reach, top = middle_of(lug_on_pin(3.0, pull=pull, clearance=clearance))
    known_reach, known_top = hertz_in_a_hole(pull, clearance)
    case, how = "Pin 0.1 mm loose in a lug", "half, contact solved"
    yield Row(f"{case}: half width of the contact", JOHNSON, known_reach, reach, "mm", how, 0.05, CLOSED_FORM)
    yield Row(f"{case}: peak pressure", JOHNSON, known_top, top, "MPa", how, 0.05, CLOSED_FORM)


@dataclass(frozen=True)
class Lug:
    """A lug that was solved on its pin: `ratio` its width over the diameter, the whole `pull` [N], what was `met`."""

    ratio: float
    pull: float
    met: Met


def lug_on_pin(
    ratio: float, *, pull: float, clearance: float = 0.0, friction: float = 0.0, kind: str = "bearing"
) -> Lug:
    """A lug `ratio` diameters wide pulled by `pull` [N] off its pin, `clearance` [mm] smaller in radius."""
    mesh, off = stacked(pin_mesh(), lug_mesh(ratio))
    held = [
        held_face(mesh, group(mesh, LOW_X), fixed=("x", "y", "z"), name="pin"),
        square_to(mesh, LOW_Y, HIGH_Y, LOW_Z, name="pin's symmetry"),
        held_face(mesh, group(mesh, off + LOW_Y), fixed=("y",), name="ahead"),
        held_face(mesh, group(mesh, off + HIGH_Y), fixed=("y",), name="behind"),
        square_to(mesh, off + LOW_Z, name="flat"),
    ]
    printed = each_of(mesh, isotropic_stiffness(*PIN), isotropic_stiffness(*LUG))
    how = {} if kind == "bonded" else {"friction": friction}
    joint = touching(mesh, off + LOW_X, HIGH_X, clearance=clearance, reach=1.0, finer=False, kind=kind, **how)
    load = pulled_behind(mesh, mesh.triangles_of((off + HIGH_X,)), pull / (2 * ratio * RADIUS * THICK))
    return Lug(ratio, pull, meet(met(mesh, printed, held, joint), load))


# ---- meshes


def lug_mesh(ratio: float) -> TetMesh:
    """The half at y > 0 of a strip that ends one width ahead of its hole and two behind it; the hole is LOW_X."""
    half, front, rear = ratio * RADIUS, 2 * ratio * RADIUS, 4 * ratio * RADIUS
    stops = (0.0, 0.18, np.arctan2(half, front), np.pi / 2, np.arctan2(half, -rear), np.pi)
    counts = (9, 7, 14, 8, 3)
    angles = np.concatenate([np.linspace(a, b, n, endpoint=False) for a, b, n in _spans(stops, counts)])
    grid = np.linspace(0, 1, len(angles) + 1)

    def bend(p: Array) -> Array:
        angle = np.interp(p[:, 1], grid, [*angles, np.pi])
        c, s = np.cos(angle), np.sin(angle)
        ahead = np.where(c > 0, front, rear) / np.maximum(np.abs(c), 1e-9)
        edge = np.minimum(ahead, half / np.maximum(np.abs(s), 1e-9))
        r = RADIUS + (edge - RADIUS) * p[:, 0]
        return np.stack([r * c, r * s, THICK * p[:, 2]], axis=1)

    return block((8, len(angles), 1), bend=bend, grade=(growing(20.0 * ratio / 3),))


def pin_mesh() -> TetMesh:
    """The half at y > 0 of a ring as thick as the lug; its outside is HIGH_X."""
    angles = np.concatenate([np.linspace(0, 0.4, 10, endpoint=False), np.linspace(0.4, np.pi, 21)])
    grid = np.linspace(0, 1, len(angles))

    def bend(p: Array) -> Array:
        angle, r = np.interp(p[:, 1], grid, angles), RADIUS * (0.3 + 0.7 * p[:, 0])
        return np.stack([r * np.cos(angle), r * np.sin(angle), THICK * p[:, 2]], axis=1)

    return block((4, len(angles) - 1, 1), bend=bend, grade=(lambda s: 1 - growing(4.0)(1 - s),))


def _spans(stops: Sequence[float], counts: Sequence[int]) -> Iterator[tuple[float, float, int]]:
    return zip(stops[:-1], stops[1:], counts, strict=True)


def pulled_behind(mesh: TetMesh, edge: Index, stress: float) -> Array:
    """Nodal forces (n, 3) [N] of a `stress` [MPa] that pulls the far end of an edge's triangles (j,) to -x."""
    x = mesh.nodes[mesh.triangles[edge], 0]
    rear = edge[(x < x.min() + 1e-9 * mesh.diagonal).all(axis=1)]

    def traction(points: Array, normals: Array) -> Array:
        return np.broadcast_to([-stress, 0.0, 0.0], points.shape)

    return spread(mesh, rear, traction)


# ---- what is read off


def hoop_of(lug: Lug) -> tuple[Array, Array]:
    """Angles from the way that the pin pushes (j,) and hoop stress (j,) [MPa] at the nodes of the hole."""
    mesh = lug.met.mesh
    hole = mesh.nodes_of((len(mesh.faces) // 2 + LOW_X,))
    x, y = mesh.nodes[hole, :2].T / RADIUS
    stress = node_stress(mesh, lug.met.equilibrium.printed, lug.met.found.displacement)[hole]
    xx, yy, xy = stress[:, [0, 1, 5]].T
    return np.arctan2(y, x), xx * y**2 + yy * x**2 - 2 * xy * x * y


def side_factor(lug: Lug) -> float:
    """The highest hoop stress at the hole over F / (d h)."""
    return float(hoop_of(lug)[1].max()) * 2 * RADIUS * THICK / lug.pull


def pressure_by_angle(lug: Lug) -> tuple[Array, Array]:
    """Angles (q,) and pressure (q,) over F / (d h) at the points between pin and lug."""
    at = lug.met.places
    return np.arctan2(at[:, 1], at[:, 0]), lug.met.pressure * 2 * RADIUS * THICK / lug.pull


def middle_of(lug: Lug) -> tuple[float, float]:
    """Half width [mm] and peak [MPa] of a narrow contact, as of an ellipse: its half width is twice the root of the
    mean square of the distance from the middle, weighed by force."""
    angle, force = np.arctan2(lug.met.places[:, 1], lug.met.places[:, 0]), lug.met.found.state.force
    reach = 2 * RADIUS * float(np.sqrt(force @ angle**2 / force.sum()))
    middle = angle < 0.3 * reach / RADIUS
    shape = np.sqrt(1 - (RADIUS * angle[middle] / reach) ** 2)
    return reach, float(lug.met.pressure[middle].mean() / shape.mean())


# ---- Hertz in a hole


def hertz_in_a_hole(pull: float, clearance: float) -> tuple[float, float]:
    """Half width [mm] and peak [MPa] of a pin whose radius is `clearance` [mm] smaller than its hole's."""
    line = pull / THICK
    curve, young = RADIUS**2 / clearance, 1 / (1 / LUG[0] + 1 / PIN[0])
    reach = float(np.sqrt(4 * line * curve / (np.pi * young)))
    return reach, 2 * line / (np.pi * reach)


def loose_pull(angle: float, *, clearance: float = 0.1) -> float:
    """The pull [N] at which Hertz's contact reaches to an `angle`."""
    curve, young = RADIUS**2 / clearance, 1 / (1 / LUG[0] + 1 / PIN[0])
    return float(np.pi * young * (angle * RADIUS) ** 2 / (4 * curve) * THICK)
