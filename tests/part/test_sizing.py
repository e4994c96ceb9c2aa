"""Fields of sizes: what they ask for, and that meshes follow them and keep their faces."""

import numpy as np
import pytest
from helpers_cad import draw
from helpers_fe import box

from fem.part.meshing import mesh_solid
from fem.part.quadrature import surface_points, volume
from fem.part.sizing import GROWTH, SizeField, filling_tets, regular_edge, size_field, smoothly_growing
from fem.part.solid import read_solid


def test_the_edge_of_a_regular_tetrahedron():
    corner = np.array([[1.0, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]])  # in a cube: all edges are 2 sqrt 2
    assert regular_edge(corner, np.array([[0, 1, 2, 3]])) == pytest.approx(2 * np.sqrt(2))


def test_sizes_grow_no_faster_than_they_may():
    mesh = box((10.0, 2.0, 2.0), (10, 2, 2))
    tets = mesh.tets[:, :4]
    size = np.full(len(mesh.nodes), 100.0)
    size[0] = 0.5
    found = smoothly_growing(mesh.nodes, tets, size)
    used = np.unique(tets)
    away = np.linalg.norm(mesh.nodes[used] - mesh.nodes[0], axis=1)
    assert (found[used] >= 0.5 + GROWTH * away - 1e-6).all()  # never less than along the straight way
    assert found[used].max() < 0.5 + GROWTH * 2 * away.max()
    assert (smoothly_growing(mesh.nodes, tets, np.full(len(size), 3.0)) == 3.0).all()


def test_a_field_needs_lengths():
    with pytest.raises(ValueError, match="positive length"):
        SizeField(np.zeros((4, 3)), np.array([[0, 1, 2, 3]]), np.array([1.0, 1.0, 0.0, 1.0]))


def drilled(occ):
    block = occ.addBox(0, 0, 0, 40, 12, 12)
    hole = occ.addCylinder(30, 6, -1, 0, 0, 14, 3)
    occ.cut([(3, block)], [(3, hole)])


@pytest.mark.parametrize("suffix", ["step", "stl"])
def test_a_mesh_follows_the_field_and_keeps_its_faces(tmp_path, suffix):
    import gmsh

    def build(occ):
        drilled(occ)
        if suffix == "stl":
            occ.synchronize()
            gmsh.option.setNumber("Mesh.MeshSizeMax", 2.0)
            gmsh.model.mesh.generate(2)

    unit = "mm" if suffix == "stl" else None
    solid = read_solid(draw(tmp_path / f"part.{suffix}", build), name="part", unit=unit)
    first = mesh_solid(solid, size=4.0, unit=unit)
    edge = regular_edge(first.nodes, first.tets)
    middle = first.nodes[first.tets[:, :4]].mean(axis=1)
    low_end = middle[:, 0] < 10
    wanted = size_field(first.nodes, first.tets, np.where(low_end, 0.5 * edge, edge))
    second = mesh_solid(solid, unit=unit, wanted=wanted)
    there = second.nodes[second.tets[:, :4]].mean(axis=1)
    now = regular_edge(second.nodes, second.tets)
    asked = np.median(edge[low_end]) / 2
    assert np.median(now[there[:, 0] < 8]) == pytest.approx(asked, rel=0.2)
    assert np.median(now[there[:, 0] > 20]) == pytest.approx(np.median(edge[middle[:, 0] > 20]), rel=0.25)
    assert filling_tets(wanted) == pytest.approx(len(second.tets), rel=0.35)
    # The same faces, each as large as before; all of the solid is filled
    assert second.faces == first.faces and set(second.face) == set(first.face)
    for number in range(len(first.faces)):
        before, after = (
            surface_points(mesh, np.flatnonzero(mesh.face == number))[1].sum() for mesh in (first, second)
        )
        assert after == pytest.approx(before, rel=0.02)
    exact = 40 * 12 * 12 - np.pi * 9 * 12
    assert volume(second, np.arange(len(second.tets))) == pytest.approx(exact, rel=0.004)
