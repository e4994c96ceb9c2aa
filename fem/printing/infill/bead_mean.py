"""Stress in the beads of a cell, averaged over pieces of the real bead (see `fem.printing.bead_box`).

Around every hexahedron lies a piece of its bead: as long as the box along the bead, one layer high, and across it the
bead's whole section. In patterns of flat walls the section is the wall's own, one bead wide: upright or leaning, it
runs on through the joints on its line, in the layers in which its bead does, and a joint counts with the stress that
its layers of this very bead carry. Where beads end at a joint in the other layers, the weld carries on their stress;
that end is not looked at by itself. Lines of the woodpile are rectangles, a layer high. The gyroid's sheet has no
middle plane: across it all material of the same sheet counts that lies within one bead width to either side.

Stress in a hexahedron is linear, and its mean over the part inside the piece is taken as such: exactly where its
edges follow the bead, by samples where they do not. So a uniform stress stays what it is, and a linear one takes its
value at the piece's middle, however large the hexahedra are.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from fem.printing.bead_box import BeadBox
from fem.printing.infill.hexahedra import strain_slopes
from fem.printing.infill.homogenise import Homogenised, Material, local_stress
from fem.printing.infill.mesh import SIGNS, CellMesh, Index
from fem.printing.plan import in_layer_rotation
from fem.tensors import Array

SAMPLES = 4
"""Samples along each direction of a hexahedron that lies partly in a piece."""
THIN = 0.01
"""Share of its height that is looked at of a mesh that is the same all the way up."""
_PIECES_AT_ONCE = 400
_PAIRS_AT_ONCE = 20_000


@dataclass(frozen=True)
class Places:
    """Pieces of bead: the `hexahedron` (p,) around whose middle each lies and its `bead` (p,) (index into the
    material's), `at` (p, 3) [mm] the middle of the piece, and `stress` (p, 6, 7) its mean stress in bead axes per
    unit mean stress of the cell and, last, per kelvin [MPa/K].
    """

    hexahedron: Index
    bead: Index
    at: Array
    stress: Array


@dataclass(frozen=True)
class Pieces:
    """Where stress is averaged: `middle` (m, 3) [mm] of each piece, `rows` (m, 3, 3) what is measured from there -
    along the bead, across its wall or sheet, up the build - and `half` (3,) [mm] how far each reaches to either side.
    """

    middle: Array
    rows: Array
    half: Array


@dataclass(frozen=True)
class Solid:
    """What is averaged: hexahedra with `centre` (n, 3) [mm] and half edges `edges` (n, 3, 3) [mm, one a row],
    `volume` (n,), their `stress` (n, 6, k) and its `slopes` (n, 3, 6, k) from the middle to the face that each half
    edge points at; `lattice` (3, 3) [mm] the periods. In a `sheet`, whose third edge points through it, only what
    faces the same way as a piece's own hexahedron is of its bead.
    """

    centre: Array
    edges: Array
    volume: Array
    stress: Array
    slopes: Array
    lattice: Array
    sheet: bool = False


def places(mesh: CellMesh, *, material: Material, solved: Homogenised, box: BeadBox) -> Places:
    """Mean stress around every hexahedron, once for each direction of beads that runs through it."""
    solid = _solid(mesh, material, solved)
    if mesh.angle is not None:
        return _in_the_sheet(mesh, material, solid, box)
    angles = sorted({bead.angle for bead in material.beads if bead.angle is not None})
    found = [_along_lines(mesh, material, solid, box, angle) for angle in angles]
    return Places(
        np.concatenate([f.hexahedron for f in found]),
        np.concatenate([f.bead for f in found]),
        np.concatenate([f.at for f in found]),
        np.concatenate([f.stress for f in found]),
    )


def _solid(mesh: CellMesh, material: Material, solved: Homogenised) -> Solid:
    """The whole mesh with its stress in print axes."""
    c, n = material.stiffness, len(mesh.corners)
    stress = local_stress(solved.strain, solved=solved, stiffness=c, expansion=material.expansion)
    slopes = strain_slopes(mesh.corners, stiffness=c, moves=solved.moves).reshape(3 * n, 6, 7)
    steep = local_stress(slopes, solved=solved, stiffness=np.repeat(c, 3, axis=0), expansion=np.zeros((3 * n, 6)))
    edges = np.einsum("ad,nai->ndi", SIGNS, mesh.corners) / 8
    return Solid(mesh.centres, edges, solved.parts.volume, stress, steep.reshape(n, 3, 6, 7), mesh.lattice)


def _in_the_sheet(mesh: CellMesh, material: Material, solid: Solid, box: BeadBox) -> Places:
    assert mesh.angle is not None
    rows = np.array([in_layer_rotation(a) for a in mesh.angle])
    mean = means(replace(solid, sheet=True), pieces=Pieces(mesh.centres, rows, box.reach), own=solid.edges[:, 2])
    # averaged in print axes: the bead turns from one hexahedron to the next
    (bead,) = material.beads
    n = len(mesh.corners)
    return Places(np.arange(n), np.zeros(n, dtype=np.intp), mesh.centres, bead.to_bead @ mean)


def _along_lines(mesh: CellMesh, material: Material, solid: Solid, box: BeadBox, angle: float) -> Places:
    """Pieces of the beads at one angle [degrees], which lie in line in parallel walls."""
    family_bead = np.full(len(mesh.families), -1, dtype=np.intp)
    for k, bead in enumerate(material.beads):
        if bead.angle == angle:
            family_bead[bead.family] = k
    mine = np.flatnonzero(family_bead[mesh.family] >= 0)
    which = family_bead[mesh.family[mine]]
    into = np.array([bead.to_bead[0] for bead in material.beads])[which]
    stress = into @ solid.stress[mine]
    stress[:, :, 6] += np.array([bead.residual for bead in material.beads])[which]
    # where nothing changes up the build, a mean over less height is the same, and neighbours are sooner found
    thin = np.array([1.0, 1.0, THIN if mesh.prismatic else 1.0])
    part = Solid(
        solid.centre[mine],
        solid.edges[mine] * thin,
        solid.volume[mine],
        stress,
        into[:, None] @ solid.slopes[mine],
        mesh.lattice,
    )
    axes = in_layer_rotation(angle)
    normal = _normal(mesh, angle)
    # parallel walls stand on planes this far apart, one of them through the origin
    steps = np.abs(mesh.lattice @ normal)
    spacing = steps[steps > 1e-6 * steps.max()].min()
    height = part.centre @ normal
    off = height - spacing * np.round(height / spacing)
    thick = box.width * np.hypot(*normal[:2])
    within = np.abs(off) <= thick / 2
    middle = part.centre - np.outer(off, normal)
    if mesh.layer is not None:
        middle[:, 2] = mesh.layer * (np.floor(middle[:, 2] / mesh.layer) + 0.5)
    middle = middle[within]
    # hexahedra side by side across a bead share its piece
    _, first, of = np.unique(np.round(middle, 7), axis=0, return_index=True, return_inverse=True)
    rows = np.broadcast_to(np.array([axes[0], normal, axes[2]]), (len(first), 3, 3))
    high = mesh.lattice[2, 2] if mesh.prismatic else box.height
    pieces = Pieces(middle[first], rows, np.array([box.length, thick, high]) / 2 * thin)
    mean = means(part, pieces=pieces)
    return Places(mine[within], which[within], middle, mean[of.reshape(-1)])


def _normal(mesh: CellMesh, angle: float) -> Array:
    """Normal (3,) of the walls whose beads run at `angle` [degrees]; upright walls unless the mesh says how they
    lean.
    """
    for family in mesh.families:
        if family.angles == (angle,) and family.normal is not None and np.hypot(*family.normal[:2]) > 0.1:
            return np.array(family.normal)
    return in_layer_rotation(angle)[1]


def means(solid: Solid, *, pieces: Pieces, own: Array | None = None) -> Array:
    """Mean stress (m, 6, k) over the solid's part of each piece; `own` (m, 3) where a sheet's pieces face."""
    out = np.empty((len(pieces.middle), *solid.stress.shape[1:]))
    for chunk, row, col, volume, moment in _overlaps(solid, pieces, own):
        out[chunk] = _weighted(solid, (chunk.stop - chunk.start), row, col, volume, moment)
    return out


def _weighted(solid: Solid, count: int, row: Index, col: Index, volume: Array, moment: Array) -> Array:
    from scipy.sparse import csr_matrix

    shape = (count, len(solid.centre))
    flat = solid.stress.reshape(len(solid.centre), -1)
    total = csr_matrix((volume, (row, col)), shape=shape) @ flat
    part = np.flatnonzero(moment.any(axis=1))
    for d in range(3):
        steep = solid.slopes[:, d].reshape(len(solid.centre), -1)
        total += csr_matrix((moment[part, d], (row[part], col[part])), shape=shape) @ steep
    whole = np.bincount(row, weights=volume, minlength=count)
    return (total / whole[:, None]).reshape(count, *solid.stress.shape[1:])


def _overlaps(solid: Solid, pieces: Pieces, own: Array | None) -> Iterator[tuple[slice, Index, Index, Array, Array]]:
    """For some pieces at a time: which piece (q,) and hexahedron (q,) overlap, the volume (q,) [mm^3] they share and
    its moment (q, 3) in half edges from the hexahedron's middle.
    """
    home = pieces.middle - np.floor(pieces.middle @ np.linalg.inv(solid.lattice)) @ solid.lattice
    pairs = _neighbours(solid, home, np.linalg.norm(np.abs(np.linalg.inv(pieces.rows)) @ pieces.half, axis=1).max())
    for start in range(0, len(home), _PIECES_AT_ONCE):
        chunk = slice(start, min(start + _PIECES_AT_ONCE, len(home)))
        row, col, at = pairs(chunk)
        if own is not None:
            same = (own[chunk][row] * solid.edges[col, 2]).sum(axis=1) > 0
            row, col, at = row[same], col[same], at[same]
        yield (chunk, *_shared(solid, pieces.rows[chunk], pieces.half, row, col, at - home[chunk][row]))


def _neighbours(solid: Solid, home: Array, radius: float) -> Callable[[slice], tuple[Index, Index, Array]]:
    """A search for hexahedra that may come within `radius` [mm] of some of the points `home` (m, 3): which point (q,)
    and hexahedron (q,), and where (q, 3) that copy of it lies.
    """
    from scipy.spatial import cKDTree

    inverse = np.linalg.inv(solid.lattice)
    base = solid.centre - np.floor(solid.centre @ inverse) @ solid.lattice
    size = np.linalg.norm(np.abs(solid.edges).sum(axis=1), axis=1)
    # as many periods to either side as come within reach
    most = np.ceil((radius + size.max()) * np.linalg.norm(inverse, axis=0)) + 1
    shifts = np.stack(np.meshgrid(*[np.arange(-k, k + 1) for k in most], indexing="ij"), axis=-1).reshape(-1, 3)
    copies = (base[None] + (shifts @ solid.lattice)[:, None]).reshape(-1, 3)
    low, high = home.min(axis=0) - radius - size.max(), home.max(axis=0) + radius + size.max()
    near = np.flatnonzero(((copies >= low) & (copies <= high)).all(axis=1))
    # large hexahedra are looked for far away, small ones need not be
    kind = np.ceil(np.log2(size / size.max()) - 1e-9)[near % len(base)]
    searches = [
        (near[kind == k], cKDTree(copies[near[kind == k]]), radius + size.max() * 2.0**k) for k in np.unique(kind)
    ]

    def pairs(chunk: slice) -> tuple[Index, Index, Array]:
        rows, found = [], []
        for numbers, tree, reach in searches:
            lists = tree.query_ball_point(home[chunk], reach, return_sorted=False)
            rows.append(np.repeat(np.arange(len(lists)), [len(one) for one in lists]))
            found.append(numbers[np.concatenate([np.asarray(one, dtype=np.intp) for one in lists])])
        copy = np.concatenate(found)
        return np.concatenate(rows), copy % len(base), copies[copy]

    return pairs


def _shared(
    solid: Solid, rows: Array, half: Array, row: Index, col: Index, away: Array
) -> tuple[Index, Index, Array, Array]:
    """The pairs that overlap, their shared volume and its moment."""
    at = np.einsum("qij,qj->qi", rows[row], away)
    edges = rows[row] @ np.swapaxes(solid.edges, 1, 2)[col]
    reach = np.abs(edges).sum(axis=2)
    some = np.flatnonzero((np.abs(at) < (half + reach) * (1 - 1e-9)).all(axis=1))
    row, col, at, edges, reach = row[some], col[some], at[some], edges[some], reach[some]
    inside = (np.abs(at) + reach <= half * (1 + 1e-9)).all(axis=1)
    volume, moment = solid.volume[col], np.zeros((len(col), 3))
    cut = np.flatnonzero(~inside)
    for start in range(0, len(cut), _PAIRS_AT_ONCE):
        few = cut[start : start + _PAIRS_AT_ONCE]
        share, lever = _cut(edges[few], at[few], half)
        volume[few] *= share
        moment[few] = lever * solid.volume[col[few], None]
    kept = volume > 0
    return row[kept], col[kept], volume[kept], moment[kept]


def _cut(edges: Array, at: Array, half: Array) -> tuple[Array, Array]:
    """Share (q,) of hexahedra within |f| <= `half` (3,), and its moment (q, 3), f = `at` (q, 3) + `edges` (q, 3, 3) x
    for x in the cube [-1, 1]^3.

    The part of the cube that can lie inside is divided evenly; each of its cells counts by how much of it lies within
    each of the three limits.
    """
    back = np.linalg.inv(edges)
    middle, span = -np.einsum("qdj,qj->qd", back, at), np.abs(back) @ half
    low, high = np.clip(middle - span, -1, 1), np.clip(middle + span, -1, 1)
    width = (high - low) / SAMPLES
    x = low[..., None] + width[..., None] * (np.arange(SAMPLES) + 0.5)
    long = (np.abs(edges) * width[:, None]).sum(axis=2)
    weight = np.ones((len(at), SAMPLES, SAMPLES, SAMPLES))
    for j in range(3):
        # the limit's distance from each sample, in lengths of its cell
        one, two, three = (edges[:, j, d, None] * x[:, d] for d in range(3))
        f = (one + at[:, j, None])[:, :, None, None] + two[:, None, :, None] + three[:, None, None, :]
        scale = 1 / np.maximum(long[:, j], 1e-9 * half[j])[:, None, None, None]
        weight *= np.clip((half[j] - np.abs(f)) * scale + 0.5, 0, 1)
    share = weight.sum(axis=3)
    at_x = np.stack([share.sum(axis=2), share.sum(axis=1), weight.sum(axis=(1, 2))], axis=1)
    whole = width.prod(axis=1) / 8
    return share.sum(axis=(1, 2)) * whole, (at_x * x).sum(axis=2) * whole[:, None]
