"""Two meshed faces opposite each other: areas, balance and gaps by closed forms, whatever the meshes."""

import numpy as np
import pytest
from helpers_fe import HIGH_Z, LOW_Z, block
from scipy.spatial.transform import Rotation

from fem.errors import InputError
from fem.evidence.bricks import STEP
from fem.joining.facing import covered, faces_opposite, first_of, rigid_counterpart
from fem.joining.overlaps import overlaps_of
from fem.joining.sides import side_of
from fem.part.quadrature import TRIANGLE_POINTS, surface_points, triangle_shapes
from fem.part.tetmesh import joined

RNG = np.random.default_rng(14)
STILL = np.eye(3)


def pair(low, high, *, cells, turn=0.0, shift=(0.0, 0.0), gap=0.0, frame=STILL, skew=False):
    """A slab of sides `low` below one of sides `high`, turned by `turn` [rad] about their middle and shifted; the
    mesh, the lower slab's upper face and the upper slab's lower one."""
    c, s = np.cos(turn), np.sin(turn)
    about = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])

    def skewed(p):
        x, y, z = p.T
        bump = 0.08 * np.sin(np.pi * x) * np.sin(np.pi * y)
        return np.column_stack([x + bump, y - 0.7 * bump, z])

    def below(p):
        return ((p - [0.5, 0.5, 1]) * [*low, 1]) @ frame.T

    def above(p):
        return (((p - [0.5, 0.5, 0]) * [*high, 1]) @ about.T + [*shift, gap]) @ frame.T

    one = block((cells[0], cells[0], 1), displacement=lambda p: below(skewed(p) if skew else p))
    two = block((cells[1], cells[1], 1), displacement=lambda p: above(skewed(p) if skew else p))
    mesh = joined([one, two])
    return mesh, np.flatnonzero(mesh.face == HIGH_Z), np.flatnonzero(mesh.face == len(one.faces) + LOW_Z)


def nodal(mesh, facing, pressure):
    """Nodal forces (n, 3) of a pressure (q,) that pushes both faces apart."""
    out = np.zeros((len(mesh.nodes), 3))
    push = -(facing.areas * pressure)[:, None] * facing.normals
    np.add.at(out, facing.nodes, facing.shares[:, :, None] * push[:, None])
    return out


def own_nodal(mesh, triangles, pressure, order):
    """The same of one face alone, by its own quadrature; `pressure` of places (q, 3)."""
    points, weight, normal = surface_points(mesh, triangles)
    corner = np.column_stack([1 - TRIANGLE_POINTS.sum(axis=1), TRIANGLE_POINTS])
    shape = triangle_shapes(TRIANGLE_POINTS)[0] if order == 2 else corner
    push = -(weight * pressure(points))[..., None] * normal
    out = np.zeros((len(mesh.nodes), 3))
    nodes = mesh.triangles[triangles][:, : shape.shape[1]]
    np.add.at(out, nodes, np.einsum("qa,jqi->jai", shape, push))
    return out


def moment(mesh, forces, about=0.0):
    return np.cross(mesh.nodes - about, forces).sum(axis=0)


@pytest.mark.parametrize("turn", [0.0, 0.1, np.pi / 4, 1.234])
@pytest.mark.parametrize("cells", [(1, 7), (5, 4)])
def test_the_area_that_two_turned_squares_share(turn, cells):
    """Two squares of side 2 about one middle share a polygon around the circle of radius 1, of area
    sum tan(half the angle between neighbouring sides): 4 (tan(t / 2) + tan((90 - t) / 2))."""
    mesh, first, second = pair((2, 2), (2, 2), cells=cells, turn=turn)
    wanted = 4 * (np.tan(turn / 2) + np.tan(np.pi / 4 - turn / 2)) if turn < np.pi / 2 else 4.0
    for one, two in [(first, second), (second, first)]:
        found = faces_opposite(mesh, one, two)
        assert found.area == pytest.approx(wanted, rel=1e-12)
        assert covered(mesh, one, found) == pytest.approx(wanted / 4, rel=1e-12)
        assert np.abs(found.gaps).max() < 1e-12


@pytest.mark.parametrize("shift, wanted", [((3.0, 4.0), 6.0), ((6.0, 4.0), 2.0 * 3), ((6.0, 6.5), 2 * 1.0)])
def test_a_small_pad_that_hangs_over_the_edge(shift, wanted):
    """A pad of 4 by 3 whose middle is shifted on a square of 14: it hangs over from x = 7 and y = 7 on."""
    wanted = (min(7 - shift[0], 2) + 2) * (min(7 - shift[1], 1.5) + 1.5)
    mesh, first, second = pair((14, 14), (4, 3), cells=(5, 3), shift=shift, frame=Rotation.random(rng=7).as_matrix())
    assert faces_opposite(mesh, first, second).area == pytest.approx(wanted, rel=1e-11)
    assert faces_opposite(mesh, second, first).area == pytest.approx(wanted, rel=1e-11)


@pytest.mark.parametrize("order", [1, 2])
@pytest.mark.parametrize("cells", [(1, 7), (7, 1), (4, 5)])
def test_a_linear_pressure_loads_both_meshes_as_it_would_each_alone(cells, order):
    """The basis of the patch test: on either side the nodal forces are the face's own integrals. Those of an even
    pressure are exact; a pressure that varies linearly leaves, in overlaps as coarse as these, a thousandth.
    """
    frame = Rotation.random(rng=3).as_matrix()
    mesh, first, second = pair((10, 8), (10, 8), cells=cells, frame=frame, skew=True)
    slope = np.array([0.3, -0.2, 0.5])
    found = faces_opposite(mesh, first, second, order=order)
    for way, size, close in [(0 * slope, 8.0, 1e-12), (slope, 8.0, 1e-12 if order == 1 else 1e-3)]:
        both = nodal(mesh, found, size + found.places @ way)
        alone = [own_nodal(mesh, t, lambda p, w=way, s=size: s + p @ w, order) for t in (first, second)]
        assert np.abs(both - sum(alone)).max() < close * np.abs(both).max()
    # A share of a quarter turned the other way is told
    wrong = nodal(mesh, found, (size + found.places @ slope) * np.where(np.arange(len(found.areas)) % 4, 1, 1.02))
    assert np.abs(wrong - sum(alone)).max() > 2e-3 * np.abs(both).max()


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("order", [1, 2])
def test_force_and_moment_balance_in_any_frame_also_across_a_gap(seed, order):
    frame = Rotation.random(rng=seed).as_matrix()
    mesh, first, second = pair((9, 7), (4, 5), cells=(4, 6), turn=0.37, shift=(1, -0.3), gap=0.2, frame=frame)
    found = faces_opposite(mesh, first, second, order=order, clearance=0.05)
    assert np.abs(found.gaps - 0.25).max() < 1e-12
    assert np.abs(found.opposite - found.places - 0.2 * found.normals).max() < 1e-12
    forces = nodal(mesh, found, 3 + found.places @ [0.1, 0.2, 0.3])
    size = np.abs(forces).sum()
    assert np.abs(forces.sum(axis=0)).max() < 1e-12 * size
    assert np.abs(moment(mesh, forces)).max() < 1e-12 * size * 9
    # A constant pressure pushes with p A
    half = np.where(mesh.node_body[:, None] == 0, nodal(mesh, found, np.ones(len(found.areas))), 0)
    assert half.sum(axis=0) == pytest.approx(-20 * (frame @ [0, 0, 1]), abs=1e-11)


@pytest.mark.parametrize("order", [1, 2])
def test_shares_measure_the_approach_of_a_motion(order):
    """Rigid and linear motions are second-order displacements: their difference between two places is exact."""
    mesh, first, second = pair((9, 7), (5, 6), cells=(3, 5), turn=0.5, gap=0.3)
    found = faces_opposite(mesh, first, second, order=order)
    slope, start = RNG.normal(size=(2, 3, 3)), RNG.normal(size=(2, 3))
    which = (mesh.node_body > 0).astype(int)
    motion = np.einsum("nij,nj->ni", slope[which], mesh.nodes) + start[which]
    moved = np.einsum("qa,qai->qi", found.shares, motion[found.nodes])
    wanted = found.places @ slope[0].T + start[0] - found.opposite @ slope[1].T - start[1]
    assert np.abs(moved - wanted).max() < 1e-12 * np.abs(wanted).max()


def test_the_finer_face_comes_first():
    mesh, coarse, fine = pair((9, 7), (9, 7), cells=(2, 5))
    assert first_of(mesh, coarse, fine)[0] is fine and first_of(mesh, fine, coarse)[0] is fine
    assert first_of(mesh, coarse, fine)[1] is coarse


@pytest.mark.parametrize("cells", [(8, 9), (24, 25)])
def test_pairs_that_are_looked_at_stay_few(cells):
    """Some 7 triangles of the same size lie over a triangle; a search in all would look at hundreds."""
    mesh, first, second = pair((10, 10), (10, 10), cells=cells, gap=0.5)
    found = overlaps_of(side_of(mesh, first), side_of(mesh, second), reach=1.0)
    assert found.tried < 16 * len(first)
    assert len(found.first) < 16 * len(first)


def test_faces_that_look_the_same_way_give_nothing():
    mesh, first, _ = pair((9, 7), (5, 6), cells=(3, 4))
    far_side = np.flatnonzero(mesh.face == len(mesh.faces) // 2 + HIGH_Z)
    with pytest.raises(InputError, match=r"do not face each other.*look 180° past each other"):
        faces_opposite(mesh, first, far_side)
    with pytest.raises(InputError, match="20 mm apart along the normal and 0 mm aside"):
        faces_opposite(*pair((9, 7), (9, 7), cells=(1, 1), gap=20.0))
    with pytest.raises(InputError, match="are 0 mm apart along the normal and 16 mm aside"):
        faces_opposite(*pair((9, 7), (9, 7), cells=(2, 2), shift=(25.0, 0)))
    # It is found where the reach is long enough
    assert faces_opposite(*pair((9, 7), (9, 7), cells=(1, 1), gap=20.0), reach=21.0).gaps == pytest.approx(20)


@pytest.mark.parametrize("gap", [0.0, 0.1])
def test_the_walls_of_a_socket_each_meet_their_own(gap):
    """All inner walls of a square socket of side 4 at once, opposite all walls of a plug of side 4 - 2 gap."""
    frame = Rotation.random(rng=8).as_matrix()
    hollow = block(
        (6, 6, 2),
        bend=lambda p: ((p - [0.5, 0.5, 0]) * [12, 12, 5]) @ frame.T,
        keep=lambda p: np.abs(p[:, :2] - 0.5).max(axis=1) > 1 / 6,
    )
    side = 4 - 2 * gap
    plug = block((3, 5, 4), bend=lambda p: ((p - [0.5, 0.5, 0]) * [side, side, 5]) @ frame.T)
    mesh = joined([hollow, plug])
    socket = np.flatnonzero(mesh.face == STEP)
    walls = np.flatnonzero((mesh.face >= len(hollow.faces)) & (mesh.face < len(hollow.faces) + LOW_Z))
    for one, two in [(socket, walls), (walls, socket)]:
        found = faces_opposite(mesh, one, two)
        assert found.area == pytest.approx(4 * side * 5, rel=1e-11)
        assert np.abs(found.gaps - gap).max() < 1e-12
        own = (found.places @ frame)[:, :2]
        outward = (found.normals @ frame)[:, :2] * (1 if one is walls else -1)
        assert (own * outward).sum(axis=1) == pytest.approx(2 - gap if one is walls else 2)


def test_a_clearance_as_wide_as_the_part_is_refused():
    mesh, first, second = pair((9, 7), (5, 6), cells=(3, 4))
    with pytest.raises(InputError, match=r"clearance 1\.5 mm is wider than part, which is 1 mm thick"):
        faces_opposite(mesh, first, second, clearance=1.5)
    with pytest.raises(InputError, match="not a length"):
        rigid_counterpart(mesh, first, clearance=float("nan"))


def test_nothing_is_opposite_through_a_body():
    """All faces of two thin plates: only those that touch count, not the outer ones, 2 mm apart through both."""
    mesh, first, _ = pair((40, 40), (40, 40), cells=(3, 4))
    half = len(mesh.faces) // 2
    every = [np.flatnonzero((mesh.face < half) == low) for low in (True, False)]
    found = faces_opposite(mesh, *every)
    assert found.area == pytest.approx(1600, rel=1e-12)
    assert np.abs(found.places[:, 2]).max() < 1e-12
    # Nor is a plate's upper face opposite its own lower one
    below = np.flatnonzero(mesh.face == LOW_Z)
    with pytest.raises(InputError, match=r"do not face.*-1 mm apart along the normal, and a body stands between"):
        faces_opposite(mesh, first, below)


def test_of_faces_behind_each_other_the_nearest_counts():
    """Above a slab two pads hang, the lower one smaller: where it hangs, the upper one is not opposite."""
    mesh, first, near = pair((10, 8), (4, 4), cells=(4, 3), gap=0.1, turn=0.2)
    upper = block((3, 3, 1), bend=lambda p: (p - [0.5, 0.5, 0]) * [10, 8, 1] + [0, 0, 1.2])
    whole = joined([mesh, upper])
    far = np.flatnonzero(whole.face == len(mesh.faces) + LOW_Z)
    found = faces_opposite(whole, first, np.concatenate([near, far]), reach=2.0)
    assert found.area == pytest.approx(80, rel=0.05)
    low = found.gaps < 0.5
    assert found.areas[low].sum() == pytest.approx(16, rel=1e-12)
    assert np.abs(found.gaps[low] - 0.1).max() < 1e-12 and np.abs(found.gaps[~low] - 1.2).max() < 1e-12
    # The farther one alone is not seen through the nearer body only where that is one of the two
    assert faces_opposite(whole, first, far, reach=2.0).area == pytest.approx(80, rel=1e-12)


def test_a_rigid_counterpart_has_the_faces_own_shape():
    mesh, first, _ = pair((9, 7), (5, 6), cells=(3, 4))
    found = rigid_counterpart(mesh, first, clearance=0.1)
    assert found.area == pytest.approx(63, rel=1e-12) and found.nodes.shape[1] == 6
    assert found.shares.sum(axis=1) == pytest.approx(1) and found.gaps == pytest.approx(0.1)
    assert found.opposite == pytest.approx(found.places + np.array([0, 0, 0.1]))
    alone = own_nodal(mesh, first, lambda p: 2 + p[..., 0], 2)
    assert np.abs(nodal(mesh, found, 2 + found.places[:, 0]) - alone).max() < 1e-12
