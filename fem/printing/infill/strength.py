"""Where the beads of a cell are stressed most, and which mean stress of the cell they bear.

Places are looked at in the middle of every hexahedron and on every free face, there at the outermost fibre, so that
bending of walls counts in full. Notches between walls would raise the stress without limit in the model; a melt joint
is rounded, so stress is averaged over half a bead width along its wall (and in every direction inside a wall and in
joints).

A place uses up the share 1 / lam of its strength, lam being the factor at which the stress, grown from zero, first
meets maximum stress, Tsai-Wu, or interlayer tension with shear. Sources: S. W. Tsai and E. M. Wu, J. Compos. Mater. 5
(1971) 58; Z. Hashin, J. Appl. Mech. 47 (1980) 329.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fem.printing.field import Strength
from fem.printing.infill.hexahedra import strain_slopes
from fem.printing.infill.homogenise import Homogenised, Material, local_stress
from fem.printing.infill.mesh import SIGNS, CellMesh, Index
from fem.tensors import Array, von_mises

MOST_POINTS = 120
"""At most so many critical points are kept."""
CLOSE = 0.01
"""A kept point stands for places whose utilisation is at most this much larger, where so few points can."""
_AT_ONCE = 400_000


@dataclass(frozen=True)
class Places:
    """Places in the beads: the `hexahedron` (p,) and the `bead` (p,) (index into the material's) they lie in, `at`
    (p, 3) [mm], and `stress` (p, 6, 7) in bead axes per unit mean stress of the cell and, last, per kelvin [MPa/K].
    """

    hexahedron: Index
    bead: Index
    at: Array
    stress: Array


def utilisation(stress: Any, strength: Strength) -> Array:
    """Share (...) of the strength that stress (..., 6) [MPa, bead axes] uses up.

    It grows in proportion with the stress: the reserve factor is one over it.
    """
    return _used_by(list(np.moveaxis(np.asarray(stress, dtype=float), -1, 0)), strength)


def _used_by(s: list[Array], strength: Strength) -> Array:
    """As `utilisation`, of the six components one by one."""
    if strength.yield_stress is not None:
        return von_mises(np.stack(s, axis=-1)) / strength.yield_stress
    assert strength.tension is not None and strength.compression is not None and strength.shear is not None
    t, c, q = (np.asarray(v, dtype=float) for v in (strength.tension, strength.compression, strength.shear))
    shear = [s[3 + k] / q[k] for k in range(3)]
    most = np.maximum(np.maximum(np.abs(shear[0]), np.abs(shear[1])), np.abs(shear[2]))
    for k in range(3):
        most = np.maximum(most, np.maximum(s[k] / t[k], s[k] / -c[k]))
    r = [s[k] / np.sqrt(t[k] * c[k]) for k in range(3)]
    across = shear[0] ** 2 + shear[1] ** 2
    form = r[0] * (r[0] - r[1]) + r[1] * (r[1] - r[2]) + r[2] * (r[2] - r[0]) + across + shear[2] ** 2
    linear = s[0] * (1 / t[0] - 1 / c[0]) + s[1] * (1 / t[1] - 1 / c[1]) + s[2] * (1 / t[2] - 1 / c[2])
    most = np.maximum(most, (linear + np.sqrt(linear**2 + 4 * np.maximum(form, 0.0))) / 2)
    return np.maximum(most, np.sqrt((np.maximum(s[2], 0) / t[2]) ** 2 + across))


def places(mesh: CellMesh, *, material: Material, solved: Homogenised, bead_width: float) -> Places:
    """All places of the cell with their evened stress."""
    n = len(mesh.corners)
    inner = local_stress(solved.strain, solved=solved, stiffness=material.stiffness, expansion=material.expansion)
    slopes = strain_slopes(mesh.corners, stiffness=material.stiffness, moves=solved.moves)
    owner, side = _free_faces(mesh)
    at_face = solved.strain[owner] + np.where(side % 2 == 1, 1.0, -1.0)[:, None, None] * slopes[owner, side // 2]
    outer = local_stress(
        at_face, solved=solved, stiffness=material.stiffness[owner], expansion=material.expansion[owner]
    )
    face_at, normal, area = _face_shape(mesh.corners[owner], side)
    hexahedron = np.concatenate([np.arange(n), owner])
    at = np.concatenate([mesh.centres, face_at])
    weight = np.concatenate([solved.parts.volume, area])
    flat = np.concatenate([np.zeros((n, 3)), normal])
    size = _sizes(mesh, solved.parts.volume, area)
    stress = np.concatenate([inner, outer])
    out = []
    for number in range(len(mesh.families)):
        mine = np.flatnonzero(mesh.family[hexahedron] == number)
        if len(mine) == 0:
            continue
        # evened in print axes: the bead's own axes may turn from one place to the next
        even = _evened(mesh, at[mine], flat[mine], weight[mine], size[mine], stress[mine], bead_width / 4)
        rank = np.cumsum(mesh.family == number) - 1
        for k, bead in enumerate(material.beads):
            if bead.family == number:
                into = bead.to_bead if len(bead.to_bead) == 1 else bead.to_bead[rank[hexahedron[mine]]]
                local = into @ even
                local[:, :, 6] += bead.residual
                out.append((hexahedron[mine], np.full(len(mine), k, dtype=np.intp), at[mine], local))
    return Places(*(np.concatenate([o[k] for o in out]) for k in range(4)))


def _free_faces(mesh: CellMesh) -> tuple[Index, Index]:
    """Hexahedra (f,) and their sides (f,) that no other hexahedron shares; side 2 d + 1 is the far one in direction
    d.
    """
    corner = np.array([[a for a in range(8) if ((a >> d) & 1) == far] for d in range(3) for far in (0, 1)])
    faces = np.sort(mesh.nodes[:, corner], axis=2)
    n = len(faces)
    count = np.unique(faces.reshape(-1, 4), axis=0, return_inverse=True, return_counts=True)
    alone = (count[2][count[1].reshape(-1)] == 1).reshape(n, 6)
    owner, side = np.nonzero(alone)
    # one hexahedron up the build meets itself there: its upper and lower face are one
    degenerate = np.array([len(set(f)) < 4 for f in faces[owner, side].tolist()], dtype=bool)
    keep = ~degenerate & ~((side >= 4) & mesh.prismatic)
    return owner[keep], side[keep]


def _face_shape(corners: Array, side: Index) -> tuple[Array, Array, Array]:
    """Middle (f, 3), unit normal (f, 3) and area (f,) of one side of each hexahedron."""
    d = side // 2
    far = np.where(side % 2 == 1, 1.0, -1.0)
    mine = SIGNS[None, :, :] == far[:, None, None]
    pick = mine[np.arange(len(side)), :, d]
    four = corners[pick].reshape(len(side), 4, 3)
    # corners of the side in the order (0,0) (1,0) (0,1) (1,1): the diagonals give the area vector
    vector = np.cross(four[:, 3] - four[:, 0], four[:, 2] - four[:, 1]) / 2
    away = four.mean(axis=1) - corners.mean(axis=1)
    vector *= np.sign((vector * away).sum(axis=1))[:, None]
    area = np.linalg.norm(vector, axis=1)
    return four.mean(axis=1), vector / area[:, None], area


def _sizes(mesh: CellMesh, volume: Array, area: Array) -> Array:
    """Length [mm] of each place along its wall."""
    if mesh.prismatic:
        height = float(mesh.lattice[2, 2])
        return np.concatenate([np.sqrt(volume / height), area / height])
    return np.concatenate([np.cbrt(volume), np.sqrt(area)])


def _evened(mesh: CellMesh, at: Array, flat: Array, weight: Array, size: Array, stress: Array, reach: float) -> Array:
    """Stress (p, 6, 7) averaged over the places of the same kind within `reach` [mm], faded over one place's length.

    A place on a face, whose normal `flat` is not zero, takes only places on the same face of the wall.
    """
    from scipy.sparse import csr_matrix
    from scipy.spatial import cKDTree

    inverse = np.linalg.inv(mesh.lattice)
    home = at - np.floor(at @ inverse) @ mesh.lattice
    out = stress.copy()
    for on_face in (False, True):
        mine = np.flatnonzero((np.abs(flat).max(axis=1) > 0) == on_face)
        if len(mine) == 0:
            continue
        here = home[mine]
        widest = reach + size[mine].max() / 2
        low, high = here.min(axis=0) - widest, here.max(axis=0) + widest
        shifts = np.stack(np.meshgrid(*[[-1.0, 0.0, 1.0]] * 3, indexing="ij"), axis=-1).reshape(-1, 3) @ mesh.lattice
        copies = (here[None] + shifts[:, None]).reshape(-1, 3)
        near = np.flatnonzero(((copies >= low) & (copies <= high)).all(axis=1))
        tree = cKDTree(copies[near])
        # far from notches places are long: there the stress hardly changes and needs no evening
        radius = np.minimum(reach + size[mine] / 2, 2 * reach)
        found = tree.query_ball_point(here, radius)
        row = np.repeat(np.arange(len(mine)), [len(f) for f in found])
        copy = near[np.concatenate([np.asarray(f, dtype=np.intp) for f in found])]
        col = copy % len(mine)
        away = copies[copy] - here[row]
        if on_face:
            n_row, n_col = flat[mine][row], flat[mine][col]
            across = (away * n_row).sum(axis=1)
            same = ((n_row * n_col).sum(axis=1) > 0.7) & (np.abs(across) < reach / 2)
            away = away - across[:, None] * n_row
            if mesh.prismatic:
                same &= np.abs(away[:, 2]) < 1e-9
        elif mesh.prismatic:
            same = np.abs(away[:, 2]) < 1e-9
        else:
            same = np.ones(len(row), dtype=bool)
        far = np.linalg.norm(away, axis=1)
        long = size[mine][col]
        share = np.clip((reach + long / 2 - far) / long, 0.0, 1.0) * same * weight[mine][col]
        mean = csr_matrix((share, (row, col)), shape=(len(mine),) * 2)
        total = np.asarray(mean.sum(axis=1)).ravel()
        out[mine] = ((mean @ stress[mine].reshape(len(mine), -1)) / total[:, None]).reshape(-1, 6, 7)
    return out


def worst(found: Places, *, states: Array, strength: Strength) -> tuple[Array, Index]:
    """The largest utilisation (m,) over all places under mean stresses `states` (m, 6) [MPa], and the place (m,)."""
    most, where = np.full(len(states), -np.inf), np.zeros(len(states), dtype=np.intp)
    step = max(1, _AT_ONCE // max(1, len(states)))
    for start in range(0, len(found.stress), step):
        used = _used(found, np.arange(start, min(start + step, len(found.stress))), states, strength)
        best = used.argmax(axis=0)
        value = used[best, np.arange(len(states))]
        better = value > most
        most, where = np.where(better, value, most), np.where(better, best + start, where)
    return most, where


def unit_states() -> Array:
    """Mean stresses (9, 6) of 1 MPa: three tensions, three compressions, three shears 23, 13, 12."""
    one = np.eye(6)
    return np.concatenate([one[:3], -one[:3], one[3:]])


def cell_strength(found: Places, *, strength: Strength) -> Array:
    """Mean stress (9,) [MPa] that the beads bear in each of the nine unit states; a shear fails in the worse of its
    ways.
    """
    states = unit_states()
    ways = np.concatenate([states, -states[6:]])
    used, _ = worst(found, states=ways, strength=strength)
    return 1 / np.concatenate([used[:6], np.maximum(used[6:9], used[9:])])


def critical(found: Places, *, strength: Strength, scale: Array) -> tuple[NDArray[np.intp], float]:
    """The few places (k,) that decide in every direction of mean stress, and by how much they may understate it.

    Directions are spread over the sphere of stresses divided by `scale` (6,) [MPa], axes and pairs of axes among
    them. The places are chosen so that in each direction one of them has nearly the minimum reserve of all: within 1
    % where `MOST_POINTS` suffice, else as near as so many can. The second number is the largest shortfall of their
    utilisation, relative, in directions that took no part in the choice.
    """
    chance = np.random.default_rng(20)
    one = np.eye(6)
    pairs = [a * one[i] + b * one[j] for i in range(6) for j in range(i) for a in (-1, 1) for b in (-1, 1)]
    fixed = np.concatenate([one, -one, np.array(pairs)]) * scale
    found, kept = _decisive(found, fixed, strength)
    directions = np.concatenate([fixed, chance.standard_normal((400, 6)) * scale])
    most, where = worst(found, states=directions, strength=strength)
    chosen = _cover(found, where, directions, most, strength)
    missed = 1.0
    for _ in range(4):
        more = chance.standard_normal((300, 6)) * scale
        most_there, where_there = worst(found, states=more, strength=strength)
        missed = 1 - float((_used(found, chosen, more, strength).max(axis=0) / most_there).min())
        if missed <= CLOSE:
            break
        directions, most = np.concatenate([directions, more]), np.concatenate([most, most_there])
        where = np.concatenate([where, where_there])
        chosen = _cover(found, where, directions, most, strength)
    return kept[chosen], missed


def _decisive(found: Places, states: Array, strength: Strength) -> tuple[Places, Index]:
    """The places that come near the worst in some of the states (m, 6), and their numbers (k,): the others never
    decide.
    """
    used = _used(found, np.arange(len(found.stress)), states, strength)
    kept = np.flatnonzero((used / used.max(axis=0)).max(axis=1) > 0.7)
    return Places(found.hexahedron[kept], found.bead[kept], found.at[kept], found.stress[kept]), kept


def _used(found: Places, chosen: Index, states: Array, strength: Strength) -> Array:
    """Utilisation (k, m) of the chosen places under mean stresses (m, 6)."""
    return _used_by([found.stress[chosen, k, :6] @ states.T for k in range(6)], strength)


def _cover(found: Places, where: Index, states: Array, most: Array, strength: Strength) -> Index:
    """The least set of places, found greedily, one of which is nearly the worst in every state; no larger than
    allowed.
    """
    able = np.unique(where)
    share = _used(found, able, states, strength) / most
    chosen: list[int] = []
    for nearly in (CLOSE / 2, CLOSE, 0.015, 0.02, 0.03, 0.04, 0.05, 0.06, 0.08, 0.1, 0.13, 0.16, 0.2):
        within = share >= 1 - nearly
        left = np.ones(len(states), dtype=bool)
        chosen = []
        while left.any() and len(chosen) < MOST_POINTS:
            chosen.append(int(within[:, left].sum(axis=1).argmax()))
            left &= ~within[chosen[-1]]
        if not left.any():
            break
    return able[np.array(sorted(chosen), dtype=np.intp)]
