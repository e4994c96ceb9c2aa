"""Springs, foundations that only push, and what each support answers with."""

import numpy as np
import pytest
from helpers_cad import draw
from helpers_fe import HIGH_X, HIGH_Y, HIGH_Z, LOW_X, LOW_Y, LOW_Z, box, field, group, material, pinned

from fem.errors import FreeBodyError, InputError, NotConverged
from fem.loading.acceleration import acceleration_load
from fem.loading.loads import force_load, resultant, wrench_load
from fem.loading.supports import Foundation, held_face, spring_support
from fem.part.faces import FaceQuery, face_group, find_faces
from fem.part.meshing import mesh_solid
from fem.part.solid import read_solid
from fem.solving import multigrid
from fem.solving.contact import solve_contact
from fem.solving.equilibrium import Equilibrium
from fem.solving.reactions import foundation_tension, reactions
from fem.tensors import isotropic_stiffness

SOFT = isotropic_stiffness(2000.0, 0.35)


def mean_displacement(mesh, face, displacement):
    """Mean over the area of a face, from the work of an even unit force on it."""
    each = [force_load(mesh, group(mesh, face), force=axis) for axis in np.eye(3)]
    return np.array([(f * displacement).sum() for f in each])


def test_springs_alone_move_by_force_over_stiffness():
    mesh = box((30, 20, 10), (3, 2, 2))
    printed = field(mesh, material(SOFT))
    stiffness = np.array([50.0, 80.0, 200.0])
    spring = spring_support(mesh, group(mesh, LOW_Z), stiffness=stiffness, name="rubber")
    equilibrium = Equilibrium(mesh, printed, foundations=[spring])
    force = np.array([30.0, -70.0, 400.0])
    load = force_load(mesh, group(mesh, HIGH_Z), force=force)
    (found,), record = equilibrium.solve(load[None], tolerance=1e-12)
    # However the body bends and turns, the face moves in the mean by force over stiffness
    assert mean_displacement(mesh, LOW_Z, found) == pytest.approx(force / stiffness, rel=1e-8)
    assert np.ptp(found[:, 2]) > 0.1
    (reaction,) = reactions(equilibrium, equilibrium.balance(found, load, record))
    assert reaction.force == pytest.approx(-force, rel=1e-8)


def test_several_springs_share_a_force_by_their_stiffness():
    mesh = box((30, 20, 10), (3, 2, 2))
    printed = field(mesh, material(isotropic_stiffness(2e6, 0.3)))
    pair = [
        spring_support(mesh, group(mesh, face), stiffness=np.array([k, 1.0, 1.0]), name=name)
        for face, k, name in ((LOW_X, 50.0, "left"), (HIGH_X, 150.0, "right"))
    ]
    equilibrium = Equilibrium(mesh, printed, foundations=pair)
    load = acceleration_load(mesh, printed, field=np.array([1e10, 0, 0]))
    (found,), record = equilibrium.solve(load[None], tolerance=1e-12)
    force = load.sum(axis=0)[0]
    left, right = reactions(equilibrium, equilibrium.balance(found, load, record))
    assert left.force[0] == pytest.approx(-force / 4, rel=1e-3)
    assert left.force[0] + right.force[0] == pytest.approx(-force, rel=1e-8)
    assert found[:, 0].mean() == pytest.approx(force / 200, rel=1e-3)


def test_springs_along_one_axis_leave_the_others_free():
    mesh = box((30, 20, 10), (3, 2, 2))
    spring = spring_support(mesh, group(mesh, LOW_Z), stiffness=np.array([0.0, 0.0, 200.0]), name="rubber")
    with pytest.raises(FreeBodyError, match="free to slide along x, slide along y and turn about z"):
        Equilibrium(mesh, field(mesh, material(SOFT)), foundations=[spring])


@pytest.mark.parametrize(
    ("given", "match"),
    [
        ({"normal": 0.0, "tangential": 0.0}, "at least one that is not zero"),
        ({"normal": 1.0, "tangential": 0.0, "axes": (0.0, -1.0, 0.0)}, "not negative"),
        ({"normal": 0.0, "tangential": 2.0, "push_only": True}, "needs a normal stiffness"),
        ({"normal": 1.0, "tangential": 2.0, "axes": (1.0, 0.0, 0.0), "push_only": True}, "needs a normal stiffness"),
    ],
)
def test_foundations_that_cannot_be_are_refused(given, match):
    with pytest.raises(InputError, match=match):
        Foundation("ground", np.zeros(1, dtype=np.int32), **given)


def rocking(*, solver="multigrid", tangential=1.0, push_only=True):
    """A bar held at one end against turning away, on a foundation, with a load that lifts its other end."""
    mesh = box((60, 20, 6), (12, 3, 2))
    foundation = Foundation("ground", mesh.triangles_of((LOW_Z,)), 5.0, tangential, push_only=push_only)
    hold = held_face(mesh, group(mesh, LOW_Y), fixed=("x", "y"), name="guide")
    equilibrium = Equilibrium(mesh, field(mesh, material(SOFT)), held=[hold], foundations=[foundation], solver=solver)
    at = np.array([10.0, 4.0, 6.0])
    load = wrench_load(
        mesh, mesh.triangles_of((HIGH_Z,)), force=np.array([0, 0, -100.0]), moment=np.array([0, 300.0, 0]), at=at
    )
    return mesh, equilibrium, load


def test_the_preconditioner_is_made_once(monkeypatch):
    made = []
    real = multigrid.Preconditioner.__init__

    def counted(self, *given, **named):
        made.append(1)
        real(self, *given, **named)

    monkeypatch.setattr(multigrid.Preconditioner, "__init__", counted)
    _, equilibrium, load = rocking()
    found, record, contact = solve_contact(equilibrium, load)
    assert 2 < contact.steps < 12
    assert len(made) == 1
    # The iteration hardly feels that the matrix has changed
    _, glued = equilibrium.solve(load[None])
    assert record.iterations < 3 * contact.steps * glued.iterations
    # What is found is a fixed point: pressed where the face moves into the foundation, let go elsewhere
    nearer = equilibrium.points("ground").approach(found)
    pressed = contact.pressing["ground"]
    assert 0 < pressed.sum() < pressed.size
    assert nearer[pressed].min() > -1e-5 * np.abs(nearer).max()
    assert nearer[~pressed].max() < 1e-5 * np.abs(nearer).max()
    again, _, _ = solve_contact(rocking(solver="direct")[1], load)
    assert again == pytest.approx(found, abs=1e-6 * np.abs(found).max())


def test_twice_the_load_presses_at_the_same_points_and_a_frozen_contact_adds_up():
    _, equilibrium, load = rocking()
    found, _, contact = solve_contact(equilibrium, load)
    twice, _, same = solve_contact(equilibrium, 2 * load)
    assert (same.pressing["ground"] == contact.pressing["ground"]).all()
    assert twice == pytest.approx(2 * found, abs=1e-7 * np.abs(found).max())
    part = np.zeros_like(load)
    part[::2] = load[::2]
    each, _ = equilibrium.solve(np.array([part, load - part]), contact=contact)
    assert each.sum(axis=0) == pytest.approx(found, abs=1e-6 * np.abs(found).max())


def test_a_part_that_lifts_off_altogether_is_told_so():
    mesh = box((30, 20, 10), (3, 2, 2))
    foundation = Foundation("ground", mesh.triangles_of((LOW_Z,)), 5.0, 1.0, push_only=True)
    equilibrium = Equilibrium(mesh, field(mesh, material(SOFT)), foundations=[foundation])
    for force, at in (([0, 0, 50.0], [15, 10, 10]), ([0, 0, -50.0], [40, 10, 10])):
        load = wrench_load(
            mesh,
            mesh.triangles_of((HIGH_Z,)),
            force=np.array(force),
            moment=np.zeros(3),
            at=np.array(at, dtype=float),
        )
        with pytest.raises(FreeBodyError, match="lifts off foundation ground, which only pushes; then body part"):
            solve_contact(equilibrium, load)
    with pytest.raises(NotConverged, match=r"foundation ground presses still changes at .* after 1 steps"):
        solve_contact(rocking()[1], rocking()[2], most=1)


def test_the_tension_of_a_foundation_is_told():
    mesh, equilibrium, load = rocking()
    (glued,), _ = equilibrium.solve(load[None])
    tension = foundation_tension(equilibrium, glued)["ground"]
    assert 0.1 < tension.area < 0.9
    assert tension.share > 0.01
    # Pushed and pulled together are the load that stands on it: nothing else bears along z
    assert tension.push - tension.pull == pytest.approx(100, rel=1e-6)
    found, _, contact = solve_contact(equilibrium, load)
    real = foundation_tension(equilibrium, found, contact=contact)["ground"]
    assert real.pull == 0 and real.share == 0 and real.area > 0.1
    assert real.push == pytest.approx(100, rel=1e-5)
    # Hung from it by its whole face (the class of fault: a foundation that pulls without a word)
    up = force_load(mesh, group(mesh, HIGH_Z), force=np.array([0, 0, 500.0]))
    (hung,), _ = equilibrium.solve(up[None])
    tension = foundation_tension(equilibrium, hung)["ground"]
    assert tension.share > 0.9 and tension.pull - tension.push == pytest.approx(500, rel=1e-6)
    # A spring pulls because it shall
    springs = Equilibrium(
        mesh,
        equilibrium.printed,
        foundations=[spring_support(mesh, group(mesh, LOW_Z), stiffness=np.full(3, 9.0), name="rubber")],
    )
    assert foundation_tension(springs, hung) == {}


def test_reactions_of_all_supports_balance_the_loads():
    mesh = box((40, 20, 10), (4, 3, 2))
    printed = field(mesh, material(SOFT))
    held = [
        held_face(mesh, group(mesh, LOW_X), fixed=("x", "y", "z"), name="wall"),
        held_face(mesh, group(mesh, LOW_Z), fixed=("z",), name="floor"),
        held_face(mesh, group(mesh, LOW_Y), fixed="normal", name="side"),
    ]
    foundations = [
        Foundation("pad", mesh.triangles_of((HIGH_Y,)), 20.0, 3.0),
        spring_support(mesh, group(mesh, HIGH_X), stiffness=np.array([100.0, 20.0, 5.0]), name="spring"),
    ]
    equilibrium = Equilibrium(mesh, printed, held=held, foundations=foundations, solver="direct")
    load = wrench_load(
        mesh,
        mesh.triangles_of((HIGH_Z,)),
        force=np.array([30.0, -20.0, 50.0]),
        moment=np.array([400.0, -300.0, 900.0]),
        at=np.array([10.0, 5.0, 3.0]),
    )
    (found,), record = equilibrium.solve(load[None])
    solution = equilibrium.balance(found, load, record)
    told = reactions(equilibrium, solution)
    assert [r.support for r in told] == ["pad", "spring", "wall", "floor", "side"]
    force, moment = resultant(mesh, load)
    scale = np.abs(load).sum()
    assert np.abs(sum(r.force for r in told) + force).max() < 1e-9 * scale
    assert np.abs(sum(r.moment_about_origin for r in told) + moment).max() < 1e-9 * scale * mesh.diagonal
    # Each alone is what its springs say; a floor held along z answers along z alone
    pad = told[0]
    nodes, local = equilibrium.points("pad").matrices()
    assert pad.force == pytest.approx(-np.einsum("jabik,jbk->i", local, found[nodes]))
    floor = told[3]
    assert np.abs(floor.force[:2]).max() == 0 < abs(floor.force[2])
    # An edge that two supports hold along z is shared by halves, not counted twice
    edge = np.intersect1d(held[0].nodes, held[1].nodes)
    assert len(edge) > 0


def test_each_hole_of_a_support_answers_for_itself(tmp_path):
    def build(occ):
        body = occ.addBox(0, 0, 0, 60, 30, 6)
        holes = [(3, occ.addCylinder(x, y, -1, 0, 0, 8, 3)) for x, y in ((12, 15), (48, 8))]
        occ.cut([(3, body)], holes)

    mesh = mesh_solid(read_solid(draw(tmp_path / "plate.step", build), name="part"), size=8, finest=4)
    holes = face_group(mesh, find_faces(mesh.faces, FaceQuery(radius=3.0), name="holes"), name="holes")
    hold = held_face(mesh, holes, fixed=("x", "y", "z"), name="screws")
    equilibrium = Equilibrium(mesh, field(mesh, material(SOFT)), held=[hold])
    edge = face_group(mesh, find_faces(mesh.faces, FaceQuery(normal=(1, 0, 0)), name="edge"), name="edge")
    load = force_load(mesh, edge, force=np.array([0.0, 0.0, -40.0]))
    (found,), record = equilibrium.solve(load[None], tolerance=1e-12)
    whole, first, second = reactions(equilibrium, equilibrium.balance(found, load, record))
    assert (whole.part, first.part, second.part) == ("", "hole 1", "hole 2")
    assert first.at == pytest.approx([12, 15, 3], abs=0.05)
    assert second.at == pytest.approx([48, 8, 3], abs=0.05)
    assert whole.force == pytest.approx([0, 0, 40], abs=1e-7)
    assert first.force + second.force == pytest.approx(whole.force, abs=1e-9)
    assert first.moment_about_origin + second.moment_about_origin == pytest.approx(
        whole.moment_about_origin, abs=1e-7
    )
    # A lever: the nearer hole bears more than the load, the far one is pulled the other way
    assert second.force[2] > 40 > 0 > first.force[2]


def test_a_node_held_twice_along_one_direction_is_borne_by_halves():
    mesh = box((40, 20, 10), (4, 2, 2))
    held = [held_face(mesh, group(mesh, LOW_X), fixed=("x", "y", "z"), name=name) for name in ("one", "two")]
    equilibrium = Equilibrium(mesh, field(mesh, material(SOFT)), held=held)
    load = force_load(mesh, group(mesh, HIGH_X), force=np.array([10.0, 0.0, -40.0]))
    (found,), record = equilibrium.solve(load[None], tolerance=1e-12)
    one, two = reactions(equilibrium, equilibrium.balance(found, load, record))
    assert one.force == pytest.approx([-5, 0, 20], abs=1e-7)
    assert two.force == pytest.approx(one.force)
    # Held at three nodes, in no face: its centre is that of its nodes
    pin = pinned(mesh, (0, 0, 0), (40, 0, 0), (0, 20, 0))
    equilibrium = Equilibrium(mesh, field(mesh, material(SOFT)), held=[pin])
    (found,), record = equilibrium.solve(load[None], tolerance=1e-12)
    (told,) = reactions(equilibrium, equilibrium.balance(found, load, record))
    assert told.force == pytest.approx([-10, 0, 40], abs=1e-7)
