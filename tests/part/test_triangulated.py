"""Solids that come as triangles, against solids whose faces, areas and volumes are known in closed form."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from scipy.spatial import ConvexHull, Delaunay

from fem.errors import MeshError, SolidError
from fem.part.solid import Face, Solid
from fem.part.triangulated import mesh_triangulated, read_triangulated, reading
from fem.part.triangulated.crossing import overlapping_boxes
from fem.part.triangulated.primitives import ConeFace, project_onto

BOX = np.array([40.0, 30.0, 10.0])
RADIUS = 5.0
MIDDLE = np.array([15.0, 14.0])


def written(folder: Path, points, triangles, *, name: str = "part.stl") -> Path:
    file = folder / name
    trimesh.Trimesh(points, triangles, process=False).export(str(file))
    return file


def box(low, high):
    """A box of twelve triangles, wound outward."""
    corner = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=float)
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    low, high = np.asarray(low, float), np.asarray(high, float)
    return low + corner * (high - low), np.array([t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))])


def side_by_side(*bodies):
    start = np.cumsum([0] + [len(p) for p, _ in bodies])
    return np.concatenate([p for p, _ in bodies]), np.concatenate(
        [t + s for (_, t), s in zip(bodies, start, strict=False)]
    )


def drilled(sides: int = 64):
    """A box with a hole right through it, its walls in single strips as a CAD program writes them."""
    angle = 2 * np.pi * np.arange(sides) / sides
    ring = MIDDLE + RADIUS * np.column_stack([np.cos(angle), np.sin(angle)])
    corners = np.array([[0, 0], [BOX[0], 0], [BOX[0], BOX[1]], [0, BOX[1]]])
    flat = np.concatenate([corners, ring])
    lid = Delaunay(flat).simplices
    lid = lid[np.linalg.norm(flat[lid].mean(axis=1) - MIDDLE, axis=1) > RADIUS * np.cos(np.pi / sides)]
    a, b = flat[lid[:, 1]] - flat[lid[:, 0]], flat[lid[:, 2]] - flat[lid[:, 0]]
    lid = np.where((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0] > 0)[:, None], lid, lid[:, ::-1])
    n = len(flat)
    points = np.concatenate([np.column_stack([flat, np.full(n, z)]) for z in (0.0, BOX[2])])
    walls = []
    around = np.arange(sides) + 4
    for i, j in [*zip(range(4), (1, 2, 3, 0), strict=True), *zip(np.roll(around, -1), around, strict=True)]:
        walls += [(i, j, j + n), (i, j + n, i + n)]
    return points, np.concatenate([lid[:, ::-1], lid + n, np.array(walls)])


def rounded(size=(40.0, 30.0, 20.0), radius: float = 3.0, steps: int = 6):
    """A box whose edges are all rounded: the hull of eight balls of latitudes and longitudes."""
    half = np.pi / 2 * np.arange(steps + 1) / steps
    ball = np.array(
        [
            [np.cos(u) * np.cos(v), np.cos(u) * np.sin(v), np.sin(u)]
            for u in half
            for v in half[: None if u < 1.57 else 1]
        ]
    )
    spots = []
    for sign in np.array(np.meshgrid(*[(-1, 1)] * 3)).reshape(3, -1).T:
        spots.append(sign * (np.array(size) / 2 - radius + radius * ball))
    points = np.unique(np.concatenate(spots).round(12), axis=0)
    hull = ConvexHull(points)
    triangles = hull.simplices
    corner = points[triangles]
    out = np.einsum("ki,ki->k", np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), corner[:, 0]) > 0
    return points, np.where(out[:, None], triangles, triangles[:, ::-1])


def filled(solid: Solid, *, size: float = 4.0, finest: float = 0.5):
    nodes, tets, triangles, face = mesh_triangulated(solid, size=size, finest=finest, name="part")
    c = nodes[tets]
    volume = np.einsum("mi,mi->m", np.cross(c[:, 1] - c[:, 0], c[:, 2] - c[:, 0]), c[:, 3] - c[:, 0]) / 6
    assert volume.min() > 0
    t = nodes[triangles]
    arrows = np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0]) / 2
    # Gauss: the flux of x / 3 out of the boundary is the volume, and only if every triangle points outward.
    assert np.einsum("ki,ki->", arrows, t.mean(axis=1)) / 3 == pytest.approx(volume.sum(), rel=1e-9)
    return nodes, tets, triangles, face, volume.sum(), np.bincount(face, np.linalg.norm(arrows, axis=1))


@pytest.fixture(scope="module")
def plate(tmp_path_factory) -> Solid:
    return read_triangulated(written(tmp_path_factory.mktemp("plate"), *drilled()), name="plate", unit="mm")


def test_a_hole_is_one_cylinder_between_planes(plate):
    kinds = sorted(f.kind for f in plate.faces)
    assert kinds == ["cylinder"] + ["plane"] * 6
    hole = next(f for f in plate.faces if f.kind == "cylinder")
    assert hole.hole
    assert hole.radius == pytest.approx(RADIUS, rel=1e-5)
    assert hole.origin[:2] == pytest.approx(MIDDLE, abs=1e-4)
    assert np.abs(hole.axis) == pytest.approx([0, 0, 1], abs=1e-6)
    assert hole.area == pytest.approx(2 * np.pi * RADIUS * BOX[2], rel=0.01)
    lids = [f for f in plate.faces if f.kind == "plane" and abs(f.normal[2]) > 0.9]
    assert [f.area for f in lids] == pytest.approx([BOX[0] * BOX[1] - np.pi * RADIUS**2] * 2, rel=0.01)
    assert {tuple(np.round(f.normal).astype(int)) for f in plate.faces if f.kind == "plane"} == {
        tuple(s * v) for s in (1, -1) for v in np.eye(3, dtype=int)
    }
    assert plate.volume == pytest.approx(np.prod(BOX) - np.pi * RADIUS**2 * BOX[2], rel=0.005)
    assert plate.surface is not None
    assert len(plate.surface.face) == len(plate.surface.triangles)


def test_a_pin_is_not_a_hole(tmp_path):
    made = trimesh.creation.cylinder(4.0, 12.0, sections=48)
    solid = read_triangulated(written(tmp_path, made.vertices, made.faces), name="pin", unit="mm")
    assert sorted(f.kind for f in solid.faces) == ["cylinder", "plane", "plane"]
    assert not next(f for f in solid.faces if f.kind == "cylinder").hole


def test_a_prism_of_eight_sides_has_no_cylinder(tmp_path):
    made = trimesh.creation.cylinder(4.0, 12.0, sections=8)
    solid = read_triangulated(written(tmp_path, made.vertices, made.faces), name="prism", unit="mm")
    assert [f.kind for f in solid.faces] == ["plane"] * 10


def test_the_volume_of_the_drilled_plate(plate):
    nodes, _, triangles, face, volume, areas = filled(plate)
    assert volume == pytest.approx(np.prod(BOX) - np.pi * RADIUS**2 * BOX[2], rel=0.005)
    assert areas == pytest.approx([f.area for f in plate.faces], rel=0.01)
    number = next(i for i, f in enumerate(plate.faces) if f.kind == "cylinder")
    wall = nodes[np.unique(triangles[face == number])]
    assert np.linalg.norm(wall[:, :2] - MIDDLE, axis=1) == pytest.approx(RADIUS, rel=1e-5)
    rim = wall[wall[:, 2] > BOX[2] - 1e-6]
    assert 14 <= len(rim) <= 24  # sixteen around, although 4 mm would allow eight only
    undrilled = np.prod(BOX)
    assert abs(volume / undrilled - 1) > 0.05


def test_rounded_edges_leave_six_planes(tmp_path):
    size, radius = np.array([40.0, 30.0, 20.0]), 3.0
    solid = read_triangulated(written(tmp_path, *rounded(size, radius)), name="block", unit="mm")
    planes = [f for f in solid.faces if f.kind == "plane"]
    a, b, c = size - 2 * radius
    assert sorted(f.area for f in planes) == pytest.approx(
        sorted([a * b, a * b, b * c, b * c, a * c, a * c]), rel=1e-4
    )
    edges = [f for f in solid.faces if f.kind == "cylinder"]
    assert len(edges) == 12
    assert [f.radius for f in edges] == pytest.approx([radius] * 12, rel=1e-3)
    balls = [f for f in solid.faces if f.kind == "sphere"]
    assert len(balls) == 8
    assert [f.radius for f in balls] == pytest.approx([radius] * 8, rel=1e-3)
    exact = (
        a * b * c + 2 * radius * (a * b + b * c + a * c) + np.pi * radius**2 * (a + b + c) + 4 / 3 * np.pi * radius**3
    )
    assert filled(solid, finest=1.0)[4] == pytest.approx(exact, rel=0.005)


def test_a_cone_is_found_and_meshed(tmp_path):
    made = trimesh.creation.revolve([[0, 0], [9, 0], [4, 10], [0, 10]], sections=48)
    solid = read_triangulated(written(tmp_path, made.vertices, made.faces), name="hub", unit="mm")
    assert sorted(f.kind for f in solid.faces) == ["cone", "plane", "plane"]
    cone = next(f for f in solid.faces if f.kind == "cone")
    assert isinstance(cone, ConeFace)
    assert cone.origin == pytest.approx([0, 0, 18], abs=1e-3)
    assert cone.half_angle == pytest.approx(np.arctan2(1, 2), rel=1e-4)
    exact = np.pi * 10 / 3 * (81 + 36 + 16)
    nodes, _, triangles, face, volume, _ = filled(solid, size=1.2)
    assert volume == pytest.approx(exact, rel=0.005)
    wall = nodes[np.unique(triangles[face == solid.faces.index(cone)])]
    assert np.hypot(wall[:, 0], wall[:, 1]) == pytest.approx((18 - wall[:, 2]) / 2, abs=1e-4)


def test_a_ball_and_a_ring_can_be_flattened(tmp_path):
    ball = trimesh.creation.icosphere(subdivisions=3, radius=10)
    solid = read_triangulated(written(tmp_path, ball.vertices, ball.faces), name="ball", unit="mm")
    assert [f.kind for f in solid.faces] == ["sphere"]
    assert solid.faces[0].radius == pytest.approx(10, rel=1e-5)
    nodes, _, triangles, _, volume, _ = filled(solid, size=1.5)
    assert volume == pytest.approx(4 / 3 * np.pi * 1000, rel=0.01)
    assert np.linalg.norm(nodes[np.unique(triangles)], axis=1) == pytest.approx(10, rel=1e-5)
    ring = trimesh.creation.torus(20, 5, major_sections=64, minor_sections=24)
    solid = read_triangulated(written(tmp_path, ring.vertices, ring.faces), name="ring", unit="mm")
    assert [f.kind for f in solid.faces] == ["free"]
    assert filled(solid, size=2.0)[4] == pytest.approx(2 * np.pi**2 * 20 * 25, rel=0.04)


def test_bodies_and_cavities(tmp_path):
    inner = box([2, 2, 2], [8, 8, 8])
    bodies = side_by_side(box([0, 0, 0], [10, 10, 10]), inner, box([20, 0, 0], [25, 10, 10]))
    file = written(tmp_path, *bodies)
    with pytest.raises(SolidError, match=r"2 solids: 1 \(784 mm³, .*touches nothing\); 2 \(500 mm³"):
        read_triangulated(file, name="two", unit="mm")
    solid = read_triangulated(file, name="two", unit="mm", part=1)
    assert solid.volume == pytest.approx(1000 - 216)
    assert any("inside out" in note for note in solid.notes)
    assert len(solid.faces) == 12
    assert filled(solid)[4] == pytest.approx(784, rel=1e-9)
    assert read_triangulated(file, name="two", unit="mm", part=2).volume == pytest.approx(500)
    with pytest.raises(SolidError, match="cannot be joined here"):
        read_triangulated(file, name="two", unit="mm", fused=True)


@pytest.mark.parametrize("suffix", ["obj", "ply", "stl"])
def test_formats_without_a_unit_want_one(tmp_path, suffix):
    file = written(tmp_path, *box([0, 0, 0], [2, 1, 1]), name=f"part.{suffix}")
    with pytest.raises(SolidError, match='unit = "mm"'):
        read_triangulated(file, name="part", unit=None)
    assert read_triangulated(file, name="part", unit="cm").volume == pytest.approx(2000)
    assert read_triangulated(file, name="part", unit="in").size == pytest.approx(50.8)
    with pytest.raises(SolidError, match="furlong"):
        read_triangulated(file, name="part", unit="furlong")


def test_text_stl_is_read_like_binary(tmp_path):
    points, triangles = drilled(24)
    file = tmp_path / "text.stl"
    file.write_text(trimesh.Trimesh(points, triangles, process=False).export(file_type="stl_ascii"))
    solid = read_triangulated(file, name="part", unit="mm")
    assert sorted(f.kind for f in solid.faces) == ["cylinder"] + ["plane"] * 6


@pytest.mark.parametrize(("stated", "factor"), [("millimeter", 1.0), ("inch", 25.4), ("meter", 1000.0)])
def test_3mf_states_its_own_unit(tmp_path, stated, factor):
    file = restated(written(tmp_path, *box([0, 0, 0], [2, 1, 1]), name="part.3mf"), f' unit="{stated}"'.encode())
    assert read_triangulated(file, name="part", unit=None).size == pytest.approx(2 * factor)


def restated(file, stated):
    import zipfile

    with zipfile.ZipFile(file) as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    with zipfile.ZipFile(file, "w") as packed:
        for name, content in parts.items():
            packed.writestr(name, content.replace(b' unit="millimeter"', stated))
    return file


@pytest.mark.parametrize("stated", ["furlong", "mile", "MM.", " ", "unknown"])
def test_a_3mf_of_an_unknown_unit_is_refused(tmp_path, stated):
    file = restated(written(tmp_path, *box([0, 0, 0], [2, 1, 1]), name="part.3mf"), f' unit="{stated}"'.encode())
    with pytest.raises(SolidError, match="none of the format's"):
        read_triangulated(file, name="part", unit=None)


def test_a_3mf_without_a_unit_is_in_mm(tmp_path):
    """3MF core specification 1.3, chapter 3.4: the default of the attribute is millimeter."""
    file = restated(written(tmp_path, *box([0, 0, 0], [2, 1, 1]), name="part.3mf"), b"")
    assert read_triangulated(file, name="part", unit=None).size == pytest.approx(2)


def test_a_3mf_that_would_fill_the_memory_is_refused(tmp_path, monkeypatch):
    """Eleven million zeros where ten million bytes are allowed: a thousandth of the real limit, to be quick."""
    import tracemalloc
    import zipfile

    file = written(tmp_path, *box([0, 0, 0], [2, 1, 1]), name="part.3mf")
    with zipfile.ZipFile(file, "a", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("3D/other.model", bytes(11_000_000))
    assert file.stat().st_size < 20_000
    assert reading.MOST_UNPACKED <= 1e9
    monkeypatch.setattr(reading, "MOST_UNPACKED", 10_000_000)
    tracemalloc.start()
    with pytest.raises(SolidError, match=r"GB unpacked;"):
        read_triangulated(file, name="part", unit=None)
    assert tracemalloc.get_traced_memory()[1] < 1_000_000
    tracemalloc.stop()


def test_an_open_surface_is_refused_with_the_place(tmp_path):
    points, triangles = box([0, 0, 0], [10, 10, 10])
    with pytest.raises(SolidError, match=r"open: 3 edges .* near \(.* mm"):
        read_triangulated(written(tmp_path, points, triangles[1:]), name="part", unit="mm")


def test_a_crossing_surface_is_refused_with_the_place(tmp_path):
    apart = side_by_side(box([0, 0, 0], [10, 10, 10]), box([11, 3, 3], [20, 13, 13]))
    assert read_triangulated(written(tmp_path, *apart), name="part", unit="mm", part=2).volume == pytest.approx(900)
    through = side_by_side(box([0, 0, 0], [10, 10, 10]), box([5, 3, 3], [20, 13, 13]))
    with pytest.raises(SolidError, match=r"2 solids: 1 \(.*overlaps 2\); 2 \(.*overlaps 1\)"):
        read_triangulated(written(tmp_path, *through), name="part", unit="mm")
    points, triangles = box([0, 0, 0], [10, 10, 10])
    points = np.where((points == 10).all(axis=1)[:, None], [2.0, 3.0, -3.0], points)
    with pytest.raises(SolidError, match=r"crosses itself") as caught:
        read_triangulated(written(tmp_path, points, triangles), name="part", unit="mm")
    place = np.array([float(v) for v in str(caught.value).split("near (")[1].split(")")[0].split(",")])
    assert (place >= -1e-6).all()
    assert (place <= 10 + 1e-6).all()


def test_boxes_that_overlap_are_all_found():
    rng = np.random.default_rng(4)
    points = (rng.random((150, 1, 3)) * 4 + rng.random((150, 3, 3))).reshape(-1, 3)
    triangles = np.arange(450).reshape(-1, 3)
    low, high = points[triangles].min(axis=1), points[triangles].max(axis=1)
    hit = ((low[:, None] <= high[None]) & (low[None] <= high[:, None])).all(axis=2)
    expected = {(i, j) for i, j in np.argwhere(hit) if i < j}
    found = {tuple(sorted(p)) for p in overlapping_boxes(points, triangles).tolist()}
    assert found == expected
    assert 0 < len(expected) < 150 * 149 / 2


def test_edges_of_more_than_two_triangles_are_refused(tmp_path):
    touching = side_by_side(box([0, 0, 0], [10, 10, 10]), box([10, 10, 0], [20, 20, 10]))
    with pytest.raises(SolidError, match=r"non-manifold\), the first near \(10, 10, 5\) mm"):
        read_triangulated(written(tmp_path, *touching), name="part", unit="mm")


def test_inside_out_and_mixed_winding_are_put_right(tmp_path):
    points, triangles = box([0, 0, 0], [10, 10, 10])
    right = read_triangulated(written(tmp_path, points, triangles), name="part", unit="mm")
    turned = read_triangulated(written(tmp_path, points, triangles[:, ::-1]), name="part", unit="mm")
    triangles[3] = triangles[3][::-1]
    mixed = read_triangulated(written(tmp_path, points, triangles), name="part", unit="mm")
    assert (right.volume, turned.volume, mixed.volume) == pytest.approx((1000, 1000, 1000))
    assert right.notes == ()
    assert "inside out" in turned.notes[0]
    assert "winding of 1 " in mixed.notes[0]
    for solid in (turned, mixed):
        for face in solid.faces:
            assert (face.centre - 5) @ face.normal == pytest.approx(5)


def test_a_one_sided_surface_is_refused(tmp_path):
    """The projective plane of six points and ten triangles is closed and has no inside."""
    points = np.array([[0, 0, 0], [10, 0, 0], [0, 10, 0], [0, 0, 10], [9, 8, 1], [2, 9, 9.0]])
    triangles = [
        (0, 1, 2), (0, 2, 3), (0, 3, 4), (0, 4, 5), (0, 5, 1),
        (1, 2, 4), (2, 3, 5), (3, 4, 1), (4, 5, 2), (5, 1, 3),
    ]  # fmt: skip
    with pytest.raises(SolidError, match=r"turns over on itself, noticed near \("):
        read_triangulated(written(tmp_path, points, np.array(triangles)), name="part", unit="mm")


def test_a_sheet_and_a_file_without_triangles_are_refused(tmp_path):
    points, triangles = box([0, 0, 0], [10, 10, 0])
    with pytest.raises(SolidError):
        read_triangulated(written(tmp_path, points, triangles), name="part", unit="mm")
    for name, content in [
        ("a.stl", "no mesh at all"),
        ("a.obj", "v 0 0 0\nv 1 0 0\n"),
        ("a.ply", "ply\n"),
        ("a.3mf", "x"),
    ]:
        (tmp_path / name).write_text(content)
        with pytest.raises(SolidError, match=name):
            read_triangulated(tmp_path / name, name="part", unit="mm")


def test_a_needle_that_closes_a_gap_is_kept_closed(tmp_path):
    """One edge of the box is split on one side only, and a triangle without area joins the sides."""
    points, triangles = box([0, 0, 0], [10, 10, 10])
    a, b, c = triangles[0]
    points = np.concatenate([points, [(points[a] + points[b]) / 2]])
    split = np.concatenate([triangles[1:], [(a, 8, c), (8, b, c), (a, b, 8)]])
    solid = read_triangulated(written(tmp_path, points, split), name="part", unit="mm")
    assert solid.volume == pytest.approx(1000)
    assert len(solid.faces) == 6


def test_projection_puts_points_onto_the_surface():
    rng = np.random.default_rng(1)
    points = rng.normal(size=(50, 3)) * 3 + [0, 0, 9]
    common = {
        "id": 1,
        "body": "b",
        "area": 1.0,
        "centre": np.array([1.0, 2, 3]),
        "low": np.zeros(3),
        "high": np.ones(3),
    }
    up = np.array([0.0, 0, 1])
    plane = project_onto(Face(kind="plane", normal=up, **common), points)
    assert plane[:, 2] == pytest.approx(3)
    assert plane[:, :2] == pytest.approx(points[:, :2])
    tube = project_onto(Face(kind="cylinder", axis=up, origin=np.zeros(3), radius=2.0, **common), points)
    assert np.hypot(tube[:, 0], tube[:, 1]) == pytest.approx(2)
    assert tube[:, 2] == pytest.approx(points[:, 2])
    ball = project_onto(Face(kind="sphere", origin=np.ones(3), radius=2.0, **common), points)
    assert np.linalg.norm(ball - 1, axis=1) == pytest.approx(2)
    cone = project_onto(ConeFace(kind="cone", origin=np.zeros(3), axis=up, half_angle=0.5, **common), points)
    assert np.hypot(cone[:, 0], cone[:, 1]) == pytest.approx(np.tan(0.5) * cone[:, 2])
    assert (project_onto(Face(kind="free", **common), points) == points).all()


def test_a_solid_without_triangles_is_not_meshed_here(plate):
    from dataclasses import replace

    with pytest.raises(MeshError, match="did not come as triangles"):
        mesh_triangulated(replace(plate, surface=None), size=4.0, finest=1.0, name="plate")
