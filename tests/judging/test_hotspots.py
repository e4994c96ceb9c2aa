"""Where failure starts: a bent cantilever has its worst place at the root, and a held edge is called one."""

import numpy as np
import pytest
from helpers_fe import HIGH_X, LOW_X, box, field, group, material
from scipy.spatial.transform import Rotation

from fem.judging.answers import _watch, unit_wrenches
from fem.judging.hotspots import NearestFace, find_hot_spots, find_singular_places, patch_edge
from fem.judging.reserve import judge_reserve
from fem.judging.stress import recover_stress
from fem.loading.loads import force_load
from fem.loading.supports import held_face
from fem.solving.equilibrium import Equilibrium
from fem.tensors import isotropic_stiffness


@pytest.fixture(scope="module")
def bent():
    mesh = box((60, 10, 10), (12, 3, 3))
    printed = field(mesh, material(isotropic_stiffness(2000.0, 0.3)))
    held = held_face(mesh, group(mesh, LOW_X), fixed=("x", "y", "z"), name="root")
    load = force_load(mesh, group(mesh, HIGH_X), force=np.array([0.0, 0.0, -10.0]))
    found, _ = Equilibrium(mesh, printed, held=[held]).solve(load[None])
    stress = recover_stress(mesh, printed, found[0])
    reserve = judge_reserve(mesh, printed, permanent=None, growing=stress)
    return mesh, held, reserve


def test_the_worst_place_is_the_root_and_is_called_singular(bent):
    mesh, held, reserve = bent
    root = mesh.box[0][0]
    marks = find_singular_places(mesh, held={"root": held.triangles}, loaded={})
    spots = find_hot_spots(mesh, reserve, marks, NearestFace(mesh, {"root": group(mesh, LOW_X)}))
    assert spots[0].at_mm[0] - root < 10
    assert spots[0].singular
    assert "fixed face root" in spots[0].singular_reason
    near = NearestFace(mesh, {"root": group(mesh, LOW_X)})

    def node_at(*place):
        return int(np.linalg.norm(mesh.nodes - place, axis=1).argmin())

    assert near(node_at(0.0, 5.0, 5.0)) == ("root", pytest.approx(0.0, abs=1e-9))
    assert near(node_at(30.0, 5.0, 10.0))[0].startswith("part:")
    assert [s.reserve for s in spots] == sorted(s.reserve for s in spots)
    # Nothing is singular where nothing is held
    free = find_hot_spots(mesh, reserve, find_singular_places(mesh, held={}, loaded={}), NearestFace(mesh, {}))
    assert not any(s.singular for s in free)
    assert free[0].reserve == spots[0].reserve


def test_only_the_rim_of_a_held_face_is_marked(bent):
    mesh, held, _ = bent
    rim = mesh.nodes[patch_edge(mesh, held.triangles)]
    low, high = mesh.box
    on_edge = [np.isclose(rim[:, a], low[a]) | np.isclose(rim[:, a], high[a]) for a in (1, 2)]
    assert np.all(on_edge[0] | on_edge[1])
    assert len(rim) == 4 * 3 * 2
    marks = find_singular_places(mesh, held={"root": held.triangles}, loaded={})
    assert not marks.at[mesh.nodes[:, 0] > low[0] + 15].any()


def test_watched_turn_is_the_rotation_of_the_face_in_degrees(bent):
    mesh, _, _ = bent
    turn = np.radians([0.1, -0.2, 0.3])
    face = group(mesh, HIGH_X)
    moved = np.array([0.5, -0.4, 0.3]) + np.cross(turn, mesh.nodes - face.centre)
    watched = _watch(unit_wrenches(mesh, face), moved)
    assert watched.rotation_deg == pytest.approx([0.1, -0.2, 0.3], rel=1e-9)
    assert watched.displacement_mm == pytest.approx([0.5, -0.4, 0.3], rel=1e-9)
    exact = Rotation.from_rotvec(turn).apply(mesh.nodes - face.centre) - (mesh.nodes - face.centre)
    assert _watch(unit_wrenches(mesh, face), exact).rotation_deg == pytest.approx([0.1, -0.2, 0.3], abs=2e-3)
