"""Plates and membranes: ellipses, a tapered panel, a layered strip, discs."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fem.evidence.bricks import (
    ABOVE,
    BELOW,
    CUT_U,
    CUT_V,
    HIGH_X,
    HIGH_Z,
    LOW_X,
    LOW_Y,
    LOW_Z,
    RIM,
    block,
    disc,
    growing,
    ring,
)
from fem.evidence.nouns import CLOSED_FORM, Row
from fem.evidence.rounds import mirrored
from fem.evidence.small_parts import field, group, material, node_at, node_stress, on, solve, square_to, still
from fem.loading.loads import force_load, pressure_load
from fem.part.quadrature import node_volumes
from fem.part.tetmesh import Index, TetMesh
from fem.printing.plan import in_layer_rotation
from fem.tensors import Array, isotropic_stiffness, orthotropic_stiffness, rotate_stiffness

NAFEMS = "The Standard NAFEMS Benchmarks, TNSB rev. 3 (1990)"
COOK = "Cook, J. Struct. Div. ASCE 100 (1974) 1851; converged value of later papers"
LAYERED = "NAFEMS report R0031 (1995), benchmark 1"
PLATES = "Timoshenko and Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. (1959), section 16"
SPINNING = "Timoshenko and Goodier, Theory of Elasticity, 3rd ed. (1970), section 32"


def elliptic_membrane() -> Iterator[Row]:
    """LE1: plane stress under an outward pull of 10 MPa on the outer ellipse."""
    mesh = ring((12, 20, 1), (2, 1), (3.25, 2.75), 0.1, grade=(growing(6.0), growing(6.0)))
    printed = field(mesh, material(isotropic_stiffness(210e3, 0.3)))
    loads = pressure_load(mesh, group(mesh, HIGH_X), pressure=-10.0)
    held = [*mirrored(mesh), square_to(mesh, LOW_Z, name="bottom")]
    found, _, _ = solve(mesh, printed, held=held, loads=loads)
    stress = node_stress(mesh, printed, found)
    # The two sides of the one layer of tetrahedra differ a little; their mean is the membrane's
    both = np.mean([stress[node_at(mesh, (2, 0, z)), 1] for z in (0, 0.1)])
    how = "12 x 20 x 1 bricks with curved sides"
    problem = "Elliptic membrane LE1: stress at D"
    yield Row(problem, f"benchmark LE1, {NAFEMS}", 92.7, float(both), "MPa", how, 0.01)


def thick_plate(cells: tuple[int, int, int] = (10, 14, 4)) -> tuple[float, float]:
    """LE10: stress yy at (2, 0) on top and below, under 1 MPa of pressure on top."""
    mesh = ring(cells, (2, 1), (3.25, 2.75), 0.6, grade=(growing(4.0), growing(4.0)))
    printed = field(mesh, material(isotropic_stiffness(210e3, 0.3)))
    loads = pressure_load(mesh, group(mesh, HIGH_Z), pressure=1.0)
    rim = on(mesh, HIGH_X)
    line = rim[np.abs(mesh.nodes[rim, 2] - 0.3) < 1e-9]
    held = [
        *mirrored(mesh),
        still(mesh, rim, axes=(0, 1), name="rim"),
        still(mesh, line, axes=(2,), name="line"),
    ]
    found, _, _ = solve(mesh, printed, held=held, loads=loads)
    stress = node_stress(mesh, printed, found)
    return float(stress[node_at(mesh, (2, 0, 0.6)), 1]), float(stress[node_at(mesh, (2, 0, 0)), 1])


def thick_elliptic_plate() -> Iterator[Row]:
    """LE10: the thick plate on a line."""
    how = "10 x 14 x 4 bricks with curved sides"
    note = "the line that carries it is a singular constraint: values drift slowly with refinement"
    problem = "Thick elliptic plate LE10: stress at D"
    yield Row(problem, f"benchmark LE10, {NAFEMS}", -5.38, thick_plate()[0], "MPa", how, 0.03, note)


def cook(n: int, *, poisson: float = 1 / 3) -> float:
    """Upward displacement at (48, 52) of the tapered panel under a unit force, n x n bricks."""

    def bend(p: Array) -> Array:
        x = 48 * p[:, 0]
        low = 44 * p[:, 0]
        return np.stack([x, low + (44 + 16 * p[:, 0] - low) * p[:, 1], 2 * p[:, 2]], axis=1)

    mesh = block((n, n, 1), bend=bend)
    # Without Poisson's ratio through the thickness a solid is in plane stress
    shear = 1 / 2 / (1 + poisson)
    printed = field(mesh, material(orthotropic_stiffness((1.0,) * 3, (poisson, 0.0, 0.0), (shear,) * 3)))
    clamp = still(mesh, on(mesh, LOW_X), axes=(0, 1), name="clamp")
    loads = force_load(mesh, group(mesh, HIGH_X), force=np.array([0, 2.0, 0]))  # a unit for each unit of thickness
    held = [clamp, square_to(mesh, LOW_Z, HIGH_Z, name="flat")]
    found, _, _ = solve(mesh, printed, held=held, loads=loads)
    return float(found[node_at(mesh, (48, 52, 0)), 1])


def tapered_panel() -> Iterator[Row]:
    """Cook's membrane."""
    how = "16 x 16 x 1 bricks"
    yield Row("Cook's tapered panel: displacement of the edge's middle", COOK, 23.97, cook(16), "mm", how, 0.003)


PLIES = (0.1, 0.1, 0.1, 0.4, 0.1, 0.1, 0.1)
"""Thickness [mm] of the plies 0/90/0/90/0/90/0 from below."""


def layered_strip(turns: tuple[float, ...] = (0, 90, 0, 90, 0, 90, 0)) -> tuple[TetMesh, Array, Array]:
    """R0031/1: mesh, displacement and stress of a quarter of the strip bent over two lines; x from its middle."""
    floor = np.concatenate([[0], np.cumsum(PLIES)])
    # The support at x = 15 and the place of the shear stress at x = 4 lie on lines of the mesh
    along = np.concatenate(
        [np.linspace(0, 4, 9), np.linspace(4, 12, 9)[1:], np.linspace(12, 16, 9)[1:], [18, 21, 25]]
    )
    mesh = block(
        (len(along) - 1, 4, 7),
        bend=lambda p: p * np.array([1.0, 5.0, 1.0]),
        grade=(lambda s: along, lambda s: s, lambda s: floor),
    )
    ply = np.searchsorted(floor, mesh.nodes[mesh.tets[:, :4], 2].mean(axis=1)) - 1
    own = orthotropic_stiffness((100e3, 5e3, 5e3), (0.4, 0.3, 0.3), (3e3, 2e3, 2e3))
    plies = [material(rotate_stiffness(own, in_layer_rotation(a))) for a in turns]
    printed = field(mesh, *plies, which=ply)
    x, _, z = mesh.nodes.T
    support = np.flatnonzero((np.abs(x - 15) < 1e-9) & (z < 1e-9))
    held = [
        square_to(mesh, LOW_X, name="middle"),
        square_to(mesh, LOW_Y, name="axis"),
        still(mesh, support, axes=(2,), name="support"),
    ]
    loads = line_load(mesh, np.flatnonzero((x < 1e-9) & (z > 1 - 1e-9)), force=np.array([0, 0, -5.0]))
    found, _, _ = solve(mesh, printed, held=held, loads=loads, solver="direct")
    return mesh, found, node_stress(mesh, printed, found)


def line_load(mesh: TetMesh, line: Index, *, force: Array) -> Array:
    """Nodal forces (n, 3) of a force (3,) for each mm on a straight line along y of nodes (j,), by Simpson's rule."""
    line = line[np.argsort(mesh.nodes[line, 1])]
    step = mesh.nodes[line[2], 1] - mesh.nodes[line[0], 1]
    weight = np.full(len(line), step / 3)
    weight[1::2] *= 2
    weight[[0, -1]] /= 2
    out = np.zeros(mesh.nodes.shape)
    out[line] = weight[:, None] * force
    return out


def layers_bent() -> Iterator[Row]:
    """R0031/1: bending of a laminated strip."""
    mesh, found, stress = layered_strip()
    how = "quarter of 27 x 4 x 7 bricks, a layer a ply"
    note = "line load and line supports are singular; read away from them"
    middle, beside = node_at(mesh, (0, 0, 0)), node_at(mesh, (4, 0, 0.1))
    # Shear stress by symmetry on the side where it is negative
    told = (
        ("deflection in the middle, below", -1.06, found[middle, 2], "mm", 0.015),
        ("stress along the strip, below", 684.0, stress[middle, 0], "MPa", 0.02),
        ("interlaminar shear stress at 4 mm", -4.1, -stress[beside, 4], "MPa", 0.03),
    )
    for words, published, computed, unit, allowed in told:
        problem = f"Laminated strip R0031/1: {words}"
        yield Row(problem, LAYERED, published, float(computed), unit, how, allowed, note)


def bent_disc(*, clamped: bool) -> tuple[float, float]:
    """Deflection [mm] and largest stress [MPa] in the middle of a disc of radius 50, 2 thick, under 0.01 MPa."""
    mesh = disc(28, 2, radius=50, thickness=2)
    printed = field(mesh, material(isotropic_stiffness(2000, 0.35)))
    loads = pressure_load(mesh, group(mesh, ABOVE), pressure=0.01)
    rim = on(mesh, RIM)
    edge = rim if clamped else rim[np.abs(mesh.nodes[rim, 2]) < 1e-9]
    held = [
        square_to(mesh, CUT_U, name="cut x"),
        square_to(mesh, CUT_V, name="cut y"),
        still(mesh, edge, axes=(0, 1, 2) if clamped else (2,), name="rim"),
    ]
    found, _, _ = solve(mesh, printed, held=held, loads=loads, solver="direct")
    stress = node_stress(mesh, printed, found)
    return -float(found[node_at(mesh, (0, 0, 0)), 2]), float(stress[node_at(mesh, (0, 0, -1)), 0])


def discs() -> Iterator[Row]:
    """Round plates under pressure: w = q a^4 / 64 D, clamped; (5 + nu) / (1 + nu) times that on a free edge."""
    how = "quarter disc of 784 x 2 prisms"
    note = f"{CLOSED_FORM}, of thin plates: shear adds {{}} % to the deflection"
    # Stress in the middle: 3 q a^2 / 8 t^2 times 1 + nu, or 3 + nu on a free edge
    clamped, free = 0.375 * 0.01 * 2500 / 4 * 1.35, 0.375 * 0.01 * 2500 / 4 * 3.35
    for words, hold, move, pull, shear in (
        ("clamped", True, 0.642700, clamped, "0.8"),
        ("simply supported", False, 2.546997, free, "0.2"),
    ):
        found, stress = bent_disc(clamped=hold)
        problem = f"Disc under pressure, {words}"
        yield Row(f"{problem}: deflection", PLATES, move, found, "mm", how, 0.015, note.format(shear))
        yield Row(f"{problem}: stress in the middle", PLATES, pull, stress, "MPa", how, 0.015, CLOSED_FORM)


def spinning() -> Iterator[Row]:
    """A disc of radius 100 that spins at 1000 rad/s: rho = 2.7e-9, nu = 0.33."""
    mesh = disc(10, 1, radius=100, thickness=2)
    printed = field(mesh, material(isotropic_stiffness(70e3, 0.33)))
    everything = np.arange(len(mesh.tets), dtype=np.int32)
    middle = mesh.nodes[mesh.tets[:, :4]].mean(axis=1)
    loads = np.zeros(mesh.nodes.shape)
    for axis in (0, 1):
        loads[:, axis] = node_volumes(mesh, everything, each=2.7e-9 * 1000.0**2 * middle[:, axis])
    cuts = (("cut x", CUT_U), ("cut y", CUT_V), ("bottom", BELOW))
    held = [square_to(mesh, face, name=name) for name, face in cuts]
    found, _, _ = solve(mesh, printed, held=held, loads=loads)
    stress = node_stress(mesh, printed, found)
    how = "quarter disc of 100 x 1 prisms; even acceleration in each tetrahedron"
    told = (("in the middle", 11.23875, (0, 0, -1), 0, 0.015), ("around the rim", 4.5225, (100, 0, -1), 1, 0.03))
    for words, published, at, component, allowed in told:
        problem = f"Disc that spins: stress {words}"
        computed = float(stress[node_at(mesh, at), component])
        yield Row(problem, SPINNING, published, computed, "MPa", how, allowed, CLOSED_FORM)
