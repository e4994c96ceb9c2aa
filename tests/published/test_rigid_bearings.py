"""Faces that bear on a rigid body that is not meshed: a shrunk ring, and a lug on its pin beside a meshed pin."""

from dataclasses import replace

import numpy as np
import pytest
from helpers_cad import draw
from helpers_fe import HIGH_X, HIGH_Y, LOW_X, LOW_Y, LOW_Z, block, field, group, material

from fem.errors import FreeBodyError
from fem.evidence.bricks import ring
from fem.evidence.small_parts import square_to
from fem.joining.facing import faces_opposite, rigid_counterpart
from fem.joining.joint import Joint, rigid_joint
from fem.loading.loads import force_load, wrench_load
from fem.loading.supports import RigidBearing, held_face
from fem.part.faces import FaceQuery, face_group, find_faces
from fem.part.meshing import mesh_solid
from fem.part.solid import read_solid
from fem.part.tetmesh import joined
from fem.solving.equilibrium import Equilibrium
from fem.solving.joined import joined_of
from fem.solving.joints import solve_joints
from fem.solving.linear import SolveRecord
from fem.solving.reactions import reactions
from fem.solving.rigid import refuse_free_pieces
from fem.tensors import isotropic_stiffness

YOUNG, POISSON = 2000.0, 0.3


def ready(mesh, held, joint, *others):
    printed = field(mesh, material(isotropic_stiffness(YOUNG, POISSON)), *others, which=mesh.body)
    return Equilibrium(mesh, printed, held=held, joined=joined_of(mesh, printed, [joint]))


@pytest.mark.parametrize(("inner", "outer"), [(10.0, 20.0), (10.0, 13.0)])
def test_a_ring_shrunk_on_a_rigid_shaft_presses_as_lame_says(inner, outer):
    # G. Lame: u = p a / E ((b2 + a2) / (b2 - a2) + nu) at the bore a of a ring that is free at its ends
    over = 0.02
    mesh = ring((4, 10, 1), inner, outer, 2.0)
    held = [square_to(mesh, LOW_Y, HIGH_Y, LOW_Z, name="symmetry")]
    shaft = rigid_joint(mesh, RigidBearing("shaft", mesh.triangles_of((LOW_X,)), clearance=-over))
    found = solve_joints(ready(mesh, held, shaft), np.zeros_like(mesh.nodes))
    a2, b2 = inner**2, outer**2
    lame = over * YOUNG / (inner * ((b2 + a2) / (b2 - a2) + POISSON))
    mean = found.state.force.sum() / shaft.facing.area
    assert mean == pytest.approx(lame, rel=0.01)
    # As much clearance presses nowhere, so that nothing holds the ring
    loose = replace(shaft, facing=rigid_counterpart(mesh, shaft.triangles, clearance=over))
    wall = held_face(mesh, group(mesh, LOW_Y), fixed=("x", "y", "z"), name="wall")
    none = solve_joints(ready(mesh, [wall], loose), np.zeros_like(mesh.nodes))
    assert not none.state.touching.any()


RADIUS, OUTER, WIDE, PULL = 5.0, 15.0, 2.0, 200.0


def half_ring(cells, inner, outer):
    """Half a ring, y > 0: faces x- inner, x+ outer, y- and y+ on the plane y = 0."""

    def bend(p):
        radius, angle = inner + (outer - inner) * p[:, 0], p[:, 1] * np.pi
        return np.stack([radius * np.cos(angle), radius * np.sin(angle), WIDE * p[:, 2]], axis=1)

    return block(cells, bend=bend)


def pulled(mesh, joint, held, *others):
    """The lug pulled along x by its rim: nothing but the pin holds it there."""
    both = ready(mesh, held, joint, *others)
    load = force_load(mesh, group(mesh, HIGH_X), force=np.array([PULL, 0, 0]))
    return both, load, solve_joints(both, load)


def peak_and_reach(joint, state):
    """The highest pressure [MPa] over the cosine's, and the angle [deg] from the middle up to which it presses."""
    at, pressure = joint.facing.places, state.force / joint.facing.areas
    angle = np.degrees(np.arctan2(at[:, 1], -at[:, 0]))
    cosine = PULL / (WIDE * RADIUS * np.pi / 2)
    return pressure[angle < 5].mean() / cosine, angle[pressure > 0].max()


@pytest.mark.parametrize("clearance", [0.0, 0.05])
def test_a_lug_on_a_rigid_pin_bears_as_on_a_meshed_one_that_hardly_yields(clearance):
    lug = half_ring((4, 36, 1), RADIUS, OUTER)
    flat = square_to(lug, LOW_Y, HIGH_Y, LOW_Z, name="symmetry")
    pin = rigid_joint(lug, RigidBearing("pin", lug.triangles_of((LOW_X,)), clearance=clearance))
    both, load, found = pulled(lug, pin, [flat])
    solution = both.balance(found.displacement, load, SolveRecord(0, ()))
    assert max(solution.force_error, solution.moment_error) < 1e-8
    told = {each.support: each.force for each in reactions(both, solution) if not each.part}
    assert told["pin"][0] == pytest.approx(-PULL, rel=1e-8)
    assert told["pin"][1] + told["symmetry"][1] == pytest.approx(0, abs=1e-8 * PULL)

    solid = half_ring((2, 30, 1), 2.0, RADIUS - clearance)
    mesh, off = joined([lug, replace(solid, bodies=("pin",))]), len(lug.faces)
    held = [
        square_to(mesh, LOW_Y, HIGH_Y, LOW_Z, name="symmetry"),
        held_face(mesh, group(mesh, off + LOW_X, off + LOW_Y, off + HIGH_Y), fixed=("x", "y", "z"), name="core"),
    ]
    facing = faces_opposite(mesh, mesh.triangles_of((LOW_X,)), mesh.triangles_of((off + HIGH_X,)), reach=1.0)
    stiff = material(isotropic_stiffness(1e4 * YOUNG, POISSON))
    meshed = Joint("pin", facing)
    _, _, other = pulled(mesh, meshed, held, stiff)
    ours, theirs = peak_and_reach(pin, found.state), peak_and_reach(meshed, other.state)
    assert ours == pytest.approx(theirs, rel=0.02)
    inside = mesh.node_body == 0
    moved = found.displacement[:, 0].max()
    assert other.displacement[inside, 0].max() == pytest.approx(moved, rel=0.01)


def test_what_a_pin_leaves_free_is_named():
    lug = half_ring((2, 12, 1), RADIUS, OUTER)
    pin = rigid_joint(lug, RigidBearing("pin", lug.triangles_of((LOW_X,))))
    with pytest.raises(FreeBodyError, match="free to slide along z"):
        pulled(lug, pin, [square_to(lug, LOW_Y, HIGH_Y, name="symmetry")])
    with pytest.raises(FreeBodyError, match="body part is pushed away and nothing stops it: it can slide along x"):
        open_hook = replace(pin, facing=pin.facing.only(pin.facing.places[:, 0] > 0))
        pulled(lug, open_hook, [square_to(lug, LOW_Y, HIGH_Y, LOW_Z, name="symmetry")])


def test_a_shrunk_ring_holds_a_moment_by_friction_alone(tmp_path):
    # Lame's pressure over the bore, times friction and radius, is the moment that the fit bears
    inner, outer, height, friction, over = 8.0, 20.0, 6.0, 0.2, 0.01

    def build(occ):
        bore = occ.addCylinder(0, 0, -1, 0, 0, height + 2, inner)
        occ.cut([(3, occ.addCylinder(0, 0, 0, 0, 0, height, outer))], [(3, bore)])

    mesh = mesh_solid(read_solid(draw(tmp_path / "ring.step", build), name="ring"), size=8, finest=4)
    bore, rim = (face_group(mesh, find_faces(mesh.faces, FaceQuery(radius=r), name="f"), name="f") for r in (8, 20))
    shaft = rigid_joint(mesh, RigidBearing("shaft", bore.triangles, friction, -over))
    both = ready(mesh, [], shaft)
    pressure = over * YOUNG / (inner * ((outer**2 + inner**2) / (outer**2 - inner**2) + POISSON))
    most = friction * pressure * 2 * np.pi * inner * height * inner
    moment = np.array([0, 0, 0.9 * most])
    load = wrench_load(mesh, rim.triangles, force=np.zeros(3), moment=moment, at=np.array([0, 0, height / 2]))
    found = solve_joints(both, load)
    solution = both.balance(found.displacement, load, SolveRecord(0, ()))
    assert max(solution.force_error, solution.moment_error) < 1e-8
    (told,) = reactions(both, solution)
    assert told.moment == pytest.approx(-moment, abs=1e-6 * most)
    assert friction * found.state.force.sum() * inner == pytest.approx(most, rel=0.02)
    assert not found.state.slipping.all()
    smooth = ready(mesh, [], replace(shaft, friction=0.0))
    with pytest.raises(FreeBodyError, match="body ring is free to slide along z and turn about z"):
        refuse_free_pieces(smooth, smooth.joined.law.closed(), where="supports", advice="")
