"""Boxes hung into a part: what the true surface bears arrives whole, and cut sides move with the part."""

from dataclasses import replace

import numpy as np
import pytest
from helpers_boxes import boxes_in, numbered, places, solved
from helpers_cad import draw

from fem.errors import NoTrustworthyAnswer
from fem.loading.bearing import bearing_load, find_bore
from fem.loading.dense import Box
from fem.loading.loads import even_traction
from fem.loading.point_springs import PointSprings, foundation_springs, held_springs
from fem.loading.preload import find_holes, preload_forces
from fem.loading.supports import Foundation, held_face
from fem.loading.traction import PointForces, dense_forces
from fem.part.faces import FaceQuery, face_group, find_faces
from fem.part.meshing import mesh_solid
from fem.part.solid import read_solid
from fem.part.tetmesh import joined
from fem.printing.plan import PrintPlan, print_axes
from fem.zooming.hang import BoxesInPart, cut_sides, forces_onto_nodes, springs_onto_nodes
from fem.zooming.where import Locator

R, HOLE, THICK = 6.0, 2.0, 10.0
UPWARDS = [(0.0, 0.0, 1.0), (1.0, 0.0, 0.0), (1.0, -2.0, 2.0)]
STEP = np.array([0.6, 0.5, 0.4])


def group(mesh, **query):
    return face_group(mesh, find_faces(mesh.faces, FaceQuery(**query), name="face"), name="face")


@pytest.fixture(scope="module")
def plate(tmp_path_factory):
    """A plate of 60 x 40 x 10 mm with a bore at (15, 20) and a bolt hole at (45, 20)."""

    def build(occ):
        body = occ.addBox(0, 0, 0, 60, 40, THICK)
        holes = [occ.addCylinder(15, 20, -1, 0, 0, 12, R), occ.addCylinder(45, 20, -1, 0, 0, 12, HOLE)]
        occ.cut([(3, body)], [(3, h) for h in holes])

    path = tmp_path_factory.mktemp("plate") / "plate.step"
    return mesh_solid(read_solid(draw(path, build), name="part"), size=6, finest=2)


@pytest.fixture(scope="module")
def locator(plate):
    return Locator(plate, "part")


def axes_of(up):
    return print_axes(PrintPlan(build_direction=up))


def filled_boxes(locator, axes, low, count):
    return boxes_in(locator, axes, low, count, STEP)


def cube_at(locator, axes, centre, size=14.0):
    count = np.ceil(size / STEP).astype(int)
    return filled_boxes(locator, axes, axes @ np.asarray(centre) - STEP * count / 2, count)


def loaded(plate):
    pin = bearing_load(
        plate, find_bore(plate, group(plate, radius=R), name="pin"), force=np.array([0, 900.0, 0]), name="pin"
    )
    low = group(plate, normal=(0, 0, -1), at="min")
    (hole,) = find_holes(plate, group(plate, radius=HOLE), low, head=None, name="bolt")
    bolt = preload_forces(plate, hole, against=low, force=3000.0, washer=9.0, name="bolt")
    return {"pin": ((15.0, 26, 5), (pin.traction,)), "bolt": ((45.0, 20, 10), bolt.tractions)}


@pytest.mark.parametrize("up", UPWARDS)
@pytest.mark.parametrize("name", ["pin", "bolt"])
def test_forces_arrive_with_their_moment(plate, locator, up, name):
    centre, tractions = loaded(plate)[name]
    boxes = cube_at(locator, axes_of(up), centre)
    pushed = dense_forces(plate, tractions, spacing=0.4, box=boxes.surface_room(locator))
    nodal = forces_onto_nodes(boxes, pushed)
    size = np.linalg.norm(pushed.force, axis=1).sum()
    assert len(pushed.point) > 500 and size > 200
    assert np.abs(nodal.sum(axis=0) - boxes.axes @ pushed.force.sum(axis=0)).max() < 1e-9 * size
    wanted = boxes.axes @ np.cross(pushed.point, pushed.force).sum(axis=0)
    assert np.abs(np.cross(places(boxes), nodal).sum(axis=0) - wanted).max() < 1e-9 * size * plate.diagonal
    # Each force stays near its point: the same share of the load on either side of a plane through the middle
    along = boxes.axes @ np.array([1.0, 0, 0])
    own, theirs = places(boxes) @ along > centre[0], pushed.point[:, 0] > centre[0]
    there = np.abs(boxes.axes @ pushed.force[theirs].sum(axis=0) - nodal[own].sum(axis=0)).max()
    assert there < 0.06 * size


def test_a_force_in_the_middle_of_a_box_goes_to_its_corners_alike(locator):
    boxes = filled_boxes(locator, np.eye(3), [28.0, 10, 2], (2, 3, 4))
    point = boxes.grid.origin + STEP * [0.5, 1.5, 2.5]
    nodal = forces_onto_nodes(boxes, PointForces(point[None], np.array([[8.0, -16, 24]])))
    own = boxes.number[2:4, 1:3, 0:2].ravel()
    assert nodal[own] == pytest.approx(np.tile([1.0, -2, 3], (8, 1)))
    assert np.abs(np.delete(nodal, own, axis=0)).max() == 0


def test_the_nearest_filled_box_is_taken(locator):
    """A point above the plate, and one before a gap: against all boxes, one by one."""
    boxes = cube_at(locator, axes_of((1.0, -2.0, 2.0)), (15, 26, 5), size=8.0)
    filled = np.argwhere(boxes.filled)
    rng = np.random.default_rng(3)
    points = boxes.corners(filled[rng.integers(0, len(filled), 60)]) + rng.uniform(-1, 1, (60, 3)) * STEP * 3
    for point in points:
        nodal = forces_onto_nodes(boxes, PointForces(point[None] @ boxes.axes, np.ones((1, 3))))
        low = boxes.corners(filled)
        gap = np.linalg.norm(np.maximum(np.maximum(low - point, point - low - STEP), 0), axis=1).min()
        used = places(boxes)[np.abs(nodal).max(axis=1) > 1e-12]
        low, high = used.min(axis=0), used.max(axis=0)
        found = np.linalg.norm(np.maximum(np.maximum(low - point, point - high), 0))
        assert found == pytest.approx(gap, abs=1e-9) and (high - low < STEP + 1e-9).all()


def test_a_face_without_beads_is_refused(locator):
    boxes = filled_boxes(locator, np.eye(3), [28.0, 10, 2], (6, 6, 6))
    far = PointForces(np.array([[28.0, 10, 9.5]]), np.ones((1, 3)))
    with pytest.raises(NoTrustworthyAnswer, match="no bead near"):
        forces_onto_nodes(boxes, far)


def over_a_hole(locator, opening):
    """A slab of 40 x 40 x 2 boxes with a hole of 24 x 24, and a force above the hole, nearer to its right rim."""
    grid = filled_boxes(locator, np.eye(3), [28.0, 10, 2], (40, 40, 2)).grid
    filled = np.ones((2, 40, 40), dtype=bool)
    filled[:, 8:32, 8:32] = False
    boxes = BoxesInPart(grid, np.eye(3), filled, numbered(filled), opening)
    return boxes, PointForces((grid.origin + STEP * [22.0, 20, 2])[None], np.array([[1.0, 2, 3]]))


def test_a_force_over_a_hole_of_the_infill_goes_to_its_rim(locator):
    boxes, pushed = over_a_hole(locator, opening=24 * float(STEP.max()))
    nodal = forces_onto_nodes(boxes, pushed)
    assert nodal.sum(axis=0) == pytest.approx(pushed.force[0])
    used = places(boxes)[np.abs(nodal).max(axis=1) > 1e-12]
    assert np.abs(used[:, 0] - (boxes.low[0] + 32 * STEP[0])).max() <= STEP[0] + 1e-9
    boxes, pushed = over_a_hole(locator, opening=2 * float(STEP.min()))
    with pytest.raises(NoTrustworthyAnswer, match="no bead near"):
        forces_onto_nodes(boxes, pushed)


@pytest.mark.parametrize(("share", "kept"), [(0.5, False), (2.0, True)])
def test_a_point_whose_bead_may_lie_beyond_a_cut_side_is_left_out(locator, share, kept):
    boxes, pushed = over_a_hole(locator, opening=24 * float(STEP.max()))
    cut = np.array([np.inf, np.inf, pushed.point[0, 2] + share * 10 * STEP[0]])
    room = Box(np.eye(3), np.full(3, -np.inf), cut)
    assert bool(np.abs(forces_onto_nodes(boxes, pushed, room=room)).max() > 0) == kept
    none = np.zeros((1, 3))
    springs = PointSprings(pushed.point, np.ones(1), np.array([[0, 0, 1.0]]), np.eye(3)[None], none)
    assert bool(len(springs_onto_nodes(boxes, [springs], room=room).node)) == kept


@pytest.mark.parametrize("up", UPWARDS)
def test_springs_keep_their_total_and_their_place_of_rest(plate, locator, up):
    boxes = cube_at(locator, axes_of(up), (15, 20, 5), size=22.0)
    bed = Foundation("bore", group(plate, radius=R).triangles, normal=100.0, tangential=0.0)
    springs = foundation_springs(plate, bed, spacing=0.4, box=boxes.surface_room(locator))
    found = springs_onto_nodes(boxes, [springs])
    whole = boxes.axes.T @ found.spring.sum(axis=0) @ boxes.axes
    assert whole == pytest.approx(springs.spring.sum(axis=0), abs=1e-8 * np.abs(whole).max())
    # All of the bore lies in the cube: pi R L in both directions across its axis, none along (closed form)
    assert whole == pytest.approx(100 * np.pi * R * THICK * np.diag([1, 1, 0]), rel=2e-3, abs=5.0)
    assert len(np.unique(found.node)) == len(found.node) and not found.rest.any()
    top = group(plate, normal=(0, 0, 1), at="max")
    moved = held_face(plate, top, fixed=("x", "z"), name="top", value=np.array([0.3, 0, -0.2]))
    held = springs_onto_nodes(
        boxes, [springs, held_springs(plate, moved, stiffness=1e7, spacing=0.4, box=boxes.surface_room(locator))]
    )
    rest = held.rest[0] @ boxes.axes
    stiff = np.trace(held.spring, axis1=1, axis2=2) > 1e5
    assert rest[stiff][:, [0, 2]] == pytest.approx(np.tile([0.3, -0.2], (stiff.sum(), 1)), abs=1e-3)


# ---- cut sides


def moved_linearly(x):
    return x @ np.array([[0.3, -1, 2], [0.7, 0.2, 0.1], [-0.4, 0.5, 1]]) * 1e-3 + [0.1, -0.2, 0.05]


@pytest.mark.parametrize("up", UPWARDS)
def test_cut_sides_move_with_the_part_and_free_sides_are_left(plate, locator, up):
    boxes = cube_at(locator, axes_of(up), (30, 20, THICK - 2), size=9.0)
    fields = np.stack([moved_linearly(plate.nodes), 2 * plate.nodes])
    held = cut_sides(boxes, locator, fields)
    place = places(boxes)[held.node]
    wanted = np.stack([moved_linearly(place @ boxes.axes), 2 * place @ boxes.axes]) @ boxes.axes.T
    assert held.displacement.shape == wanted.shape
    assert np.abs(held.displacement - wanted).max() < 1e-10
    on_side = (np.abs(place - boxes.low) < 1e-9) | (np.abs(place - boxes.high) < 1e-9)
    assert on_side.any(axis=1).all()
    assert len(np.unique(held.node)) == len(held.node) > 100
    # All nodes on the grid's sides are held but those that look out of the plate's top
    every = (np.abs(places(boxes) - boxes.low) < 1e-9) | (np.abs(places(boxes) - boxes.high) < 1e-9)
    free = np.setdiff1d(np.flatnonzero(every.any(axis=1)), held.node)
    assert (places(boxes)[free] @ boxes.axes)[:, 2].min(initial=THICK) > THICK - 1.2


def test_a_side_on_the_outline_is_free(plate, locator):
    """A grid that ends where the plate ends: the plate's end, its top and bottom are no cuts."""
    boxes = filled_boxes(locator, np.eye(3), [54.0, 10, 0], (10, 10, 25))
    assert boxes.filled.all()
    held = places(boxes)[cut_sides(boxes, locator, np.zeros((1, len(plate.nodes), 3))).node]
    cut = (held[:, 0] < 54 + 1e-9) | (held[:, 1] < 10 + 1e-9) | (held[:, 1] > 15 - 1e-9)
    assert cut.all()
    assert len(held) == 26 * (11 * 11 - 10 * 9)


# ---- the patch


@pytest.mark.parametrize("up", UPWARDS)
def test_solid_boxes_inside_the_part_follow_a_linear_displacement(plate, locator, up):
    """The patch: all sides cut, the inside must lie on the same linear displacement."""
    axes = axes_of(up)
    boxes = filled_boxes(locator, axes, axes @ np.array([30.0, 20, 5]) - 1.2, (4, 5, 6))
    held = cut_sides(boxes, locator, moved_linearly(plate.nodes)[None])
    assert boxes.filled.all() and len(held.node) == 5 * 6 * 7 - 3 * 4 * 5
    found = solved(boxes, 1500.0, 900.0, np.zeros((boxes.count, 3)), held)
    wanted = moved_linearly(places(boxes) @ axes) @ axes.T
    assert np.abs(found - wanted).max() < 1e-12
    # Negative control: one side left free pulls the inside away
    kept = np.abs(places(boxes)[held.node][:, 2] - boxes.high[2]) > 1e-9
    loose = type(held)(held.node[kept], held.displacement[:, kept])
    astray = solved(boxes, 1500.0, 900.0, np.zeros((boxes.count, 3)), loose)
    assert np.abs(astray - wanted).max() > 1e-4


def test_the_end_of_a_pulled_bar_moves_as_it_does_whole(plate, locator):
    """Uniaxial stress: the cut held by the part's displacement, the end pulled by its own load, all else free."""
    lam, mu, stress = 1500.0, 900.0, 12.0
    young, nu = mu * (3 * lam + 2 * mu) / (lam + mu), lam / (2 * (lam + mu))
    end = group(plate, normal=(1, 0, 0), at="max")
    strain = np.diag([1, -nu, -nu]) * stress / young
    boxes = filled_boxes(locator, np.eye(3), [54.0, 30, 0], (10, 20, 25))
    pull = even_traction(end, force=np.array([stress * 40 * THICK, 0, 0]))
    pushed = dense_forces(plate, (pull,), spacing=0.1, box=boxes.surface_room(locator))
    nodal = forces_onto_nodes(boxes, pushed)
    held = cut_sides(boxes, locator, (plate.nodes @ strain)[None])
    found, wanted = solved(boxes, lam, mu, nodal, held), places(boxes) @ strain
    moved = np.abs(wanted - wanted.mean(axis=0)).max()
    assert np.abs(found - wanted).max() < 0.01 * moved
    without = solved(boxes, lam, mu, 0 * nodal, held)
    assert np.abs(without - wanted).max() > 0.2 * moved


def test_a_prescribed_face_moves_what_hangs_on_it(plate, locator):
    """The same bar, its end moved by stiff springs instead of pulled."""
    lam, mu = 1500.0, 900.0
    nu = lam / (2 * (lam + mu))
    strain = np.diag([1, -nu, -nu]) * 1e-3
    boxes = filled_boxes(locator, np.eye(3), [54.0, 30, 0], (10, 20, 25))
    end = group(plate, normal=(1, 0, 0), at="max")
    face = held_face(plate, end, fixed=("x",), name="end", value=np.array([0.06, 0, 0]))
    room = boxes.surface_room(locator)
    springs = springs_onto_nodes(boxes, [held_springs(plate, face, stiffness=1e8, spacing=0.2, box=room)])
    held = cut_sides(boxes, locator, (plate.nodes @ strain)[None])
    found = solved(boxes, lam, mu, np.zeros((boxes.count, 3)), held, springs)
    assert np.abs(found - places(boxes) @ strain).max() < 1e-6


def test_the_surface_of_a_grid_goes_on_where_the_part_ends(plate, locator):
    """The last corner of a plate lies on the grid's own side; a face beyond a cut belongs to the next grid."""
    end = even_traction(group(plate, normal=(1, 0, 0), at="max"), force=np.array([400.0, 0, 0]))
    boxes = filled_boxes(locator, np.eye(3), [54.0, 30, 0], (10, 20, 25))
    room = boxes.surface_room(locator)
    assert np.isinf(room.high).all() and (room.low == [54, 30, -np.inf]).all()
    force = dense_forces(plate, (end,), spacing=0.2, box=room).force.sum(axis=0)
    assert force == pytest.approx([100.0, 0, 0], rel=0.01, abs=1e-9)
    inner = filled_boxes(locator, np.eye(3), [50.0, 30, 0], (10, 10, 25))
    assert not len(dense_forces(plate, (end,), spacing=0.2, box=inner.surface_room(locator)).point)


def test_only_the_surface_of_the_own_body_counts(plate):
    """Two bodies at one place: what presses on the other does not press on this one's boxes."""
    faces = tuple(replace(face, body="other") for face in plate.faces)
    both = joined([plate, replace(plate, bodies=("other",), faces=faces)])
    tops = [i for i, face in enumerate(both.faces) if face.normal is not None and face.normal[2] > 0.9]
    even = even_traction(face_group(both, tuple(tops), name="tops"), force=np.array([0, 0, -200.0]))
    forces = {name: dense_forces(both, (even,), spacing=2.0, body=name).force for name in (None, "part", "other")}
    assert {k: v.sum(axis=0)[2] for k, v in forces.items()} == pytest.approx(
        {None: -200, "part": -100, "other": -100}
    )
