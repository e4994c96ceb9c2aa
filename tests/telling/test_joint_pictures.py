"""Pictures and fields of joints: what is painted adds up to what was given, faces are laid flat true to length."""

import dataclasses

import beam
import numpy as np
import pytest
from helpers_joints import pressed, seam, two_blocks

from fem.evidence.bricks import ring
from fem.joining.facing import rigid_counterpart
from fem.joining.joint import Joint
from fem.judging.findings import JointAtLoad, JointFindings, PathPoint, read_findings, write_findings
from fem.telling.album import Album
from fem.telling.blocks import Figure, Table, Text
from fem.telling.files import write_fields
from fem.telling.hand import part_in_hand
from fem.telling.hand.packing import unpacked
from fem.telling.joint_panels import panels_of
from fem.telling.joint_picture import draw_joint, painted, seated
from fem.telling.review.joints import joint_blocks
from fem.telling.review.material import Material


def test_what_is_painted_adds_up_to_the_force_the_open_and_the_slipping_area():
    # 0.4 MPa/mm from x = 8 mm on, of 20 x 20 mm: 0.4 * 12^2 / 2 * 20 = 576 N; 40 % open; slips beyond y = 15 mm
    mesh, off = two_blocks((9, 8, 2), (12, 11, 2))
    state = pressed(seam(mesh, off), pressure=lambda at: 0.4 * (at[:, 0] - 8), slipping=lambda at: at[:, 1] > 15)
    (panel,) = panels_of(mesh, state)
    assert panel.size == pytest.approx([20, 20])
    (seat,) = seated([panel])
    map_ = painted(seat, state)
    pixel = 1 / seat.scale**2
    assert map_.there.sum() * pixel == pytest.approx(400, rel=0.02)
    assert map_.touches.sum() * pixel == pytest.approx(240, rel=0.05)
    assert map_.slips.sum() * pixel == pytest.approx(60, rel=0.08)
    assert map_.pressure[map_.touches].sum() * pixel == pytest.approx(576, rel=0.03)


def test_one_looks_at_a_face_from_its_counterpart():
    mesh, off = two_blocks((4, 4, 2), (7, 5, 3))
    (panel,) = panels_of(mesh, pressed(seam(mesh, off), pressure=lambda at: at[:, 0]))
    # The upper block is the finer: its face looks down, so one looks up, and right times up comes to the eye
    assert panel.towards == pytest.approx([0, 0, 1])
    assert np.cross(panel.right, panel.up) == pytest.approx(-panel.towards)
    at = np.column_stack([panel.right, panel.up])
    joint = seam(mesh, off)
    assert panel.points == pytest.approx(joint.facing.places @ at)


def quarter(*, hollow):
    """A quarter of a ring, its round face of radius 10 or 20 mm against a rigid counterpart."""
    mesh = ring((4, 9, 5), 10.0, 20.0, 12.0)
    radius, which = (10.0, 0) if hollow else (20.0, 1)
    known = dataclasses.replace(
        mesh.faces[which], kind="cylinder", normal=None, axis=np.array([0.0, 0, 1]), origin=np.zeros(3),
        radius=radius, hollow=hollow,
    )  # fmt: skip
    faces = tuple(known if i == which else face for i, face in enumerate(mesh.faces))
    mesh = dataclasses.replace(mesh, faces=faces)
    return mesh, Joint("eye", rigid_counterpart(mesh, mesh.triangles_of((which,)))), radius


@pytest.mark.parametrize("hollow", [False, True])
def test_a_round_face_is_unrolled_to_its_arc_as_its_counterpart_sees_it(hollow):
    mesh, joint, radius = quarter(hollow=hollow)
    (panel,) = panels_of(mesh, pressed(joint, pressure=lambda at: at[:, 0] - at[:, 1]))
    assert panel.unrolled
    assert panel.size == pytest.approx([radius * np.pi / 2, 12.0], rel=1e-6)
    # Seen from outside a shaft, what lies counterclockwise is to the right; seen from inside a bore, to the left
    angle = np.arctan2(joint.facing.places[:, 1], joint.facing.places[:, 0])
    slope = np.polyfit(angle, panel.points[:, 0], 1)[0]
    assert slope == pytest.approx(-radius if hollow else radius, rel=1e-3)
    middle = np.array([1, 1, 0]) / np.sqrt(2)
    assert panel.towards == pytest.approx(middle if hollow else -middle, abs=1e-6)


def test_walls_of_a_post_follow_each_other_as_one_walks_around_it():
    mesh = beam.beam_mesh()
    joint = Joint("post", rigid_counterpart(mesh, mesh.triangles_of((2, 3, 4, 5, 1))))
    panels = panels_of(mesh, pressed(joint, pressure=lambda at: np.ones(len(at))))
    names = [panel.faces[0] for panel in panels]
    assert names[-1] == "beam:2"  # the end face, across the axis
    walls = [mesh.faces[int(name.split(":")[1]) - 1].normal for name in names[:-1]]
    for one, following in zip(walls, [*walls[1:], walls[0]], strict=True):
        assert np.cross(one, following) == pytest.approx([1, 0, 0])
    for panel in panels[:-1]:
        assert np.abs(panel.up) == pytest.approx([1, 0, 0])


def joined_beam(scene, findings):
    """The beam with a joint under it in case landing, pressed by 2 MPa for x above 60 mm, and a path."""
    joint = Joint("seat", rigid_counterpart(scene.mesh, scene.mesh.triangles_of((4,))), friction=0.2)
    state = pressed(
        joint, pressure=lambda at: 2.0 * (at[:, 0] > 60), opening=lambda at: 0.001 * (60 - at[:, 0]) + 1e-6
    )
    told = JointFindings((0.0, 0.0, 1600.0), (1.0, 2.0, 0.0), (80.0, 10.0, -8.0), 2.0, 0.06, 0.01, 0.4, 0.1, 1e-4,
                         "touches on 40 % of its area", ("beam", "mast"))  # fmt: skip
    beside = dataclasses.replace(told, force_N=(0.0, 0.0, -1600.0), moment_Nmm=(1e3, 5e3, 0.0))

    def at(touching, gap, slipping):
        return {"seat": JointAtLoad((0.0, 0.0, 1600.0), touching, slipping, gap, 0.0)}

    path = (
        PathPoint(0.0, 0.2, 8.0, "path", at(1.0, 0.0, 0.0)),
        PathPoint(0.5, 3.0, 4.0, "path", at(1.0, 0.0, 0.3)),
        PathPoint(1.0, 6.1, 1.28, "case", at(0.4, 0.06, 0.1)),
        PathPoint(1.2, 9.0, 1.0, "reserve", at(0.2, 0.1, 0.15)),
    )
    landing = dataclasses.replace(findings.cases["landing"], joints={"seat": told, "side": beside}, path=path)
    cases = {**findings.cases, "landing": landing}
    fields = dict(scene.cases)
    fields["landing"] = dataclasses.replace(fields["landing"], joints=(state,))
    return dataclasses.replace(scene, cases=fields), dataclasses.replace(findings, cases=cases)


def test_the_picture_of_a_joint_carries_its_numbers_and_patterns(scene, findings, tmp_path):
    from PIL import Image

    made, found = joined_beam(scene, findings)
    picture = draw_joint(Album(found, made, None, tmp_path), case="landing", joint="seat")
    assert picture.kind == "joint" and picture.case == "landing" and picture.high == 2.0
    assert {"Joint seat, case landing", "bearing pressure [MPa]", "2.00 MPa", "0.0600 mm open"} <= set(picture.labels)
    assert {"open", "touches, slips"} <= set(picture.labels) and "no counterpart" not in picture.labels
    assert "40.0 % of the area touches" in picture.alt and "beam:5" in picture.caption
    page = np.asarray(Image.open(tmp_path / picture.file))
    assert page.shape == (1200, 1600, 3)
    assert (page == (120, 126, 132)).all(axis=2).sum() > 1000  # the lines of what is open


def test_the_part_in_hand_has_the_pressure_where_there_are_joints_alone(scene, findings):
    keys = [q["key"] for q in part_in_hand(scene, findings).data["quantities"]]
    assert "pressure" not in keys and "opening" not in keys
    made, found = joined_beam(scene, findings)
    data = part_in_hand(made, found).data
    named = {q["key"]: q for q in data["quantities"]}
    assert named["pressure"]["unit"] == "MPa" and named["opening"]["unit"] == "mm"
    assert named["pressure"]["tops"]["landing"] == pytest.approx(2.0) and named["pressure"]["tops"]["cruise"] == 0
    for case, most in (("landing", 2.0), ("cruise", 0.0)):
        told = data["cases"][case]["pressure"]
        values = (unpacked(told["packed"])[:, 0].astype(float) - told["zero"]) * told["step"]
        assert values.max() == pytest.approx(most) and values.min() == 0


def test_the_file_of_fields_has_the_pressure_where_there_are_joints(scene, findings, tmp_path):
    import pyvista

    made, _ = joined_beam(scene, findings)
    grid = pyvista.read(write_fields(made, tmp_path / "fields.vtu"))
    assert grid.point_data["landing_bearing_pressure_MPa"].max() == pytest.approx(2.0)
    assert "cruise_bearing_pressure_MPa" not in grid.point_data


def test_path_and_bodies_come_back_from_the_file_of_findings(scene, findings, tmp_path):
    _, found = joined_beam(scene, findings)
    unlimited = dataclasses.replace(found.cases["landing"].path[0], reserve=np.inf)
    landing = dataclasses.replace(found.cases["landing"], path=(unlimited, *found.cases["landing"].path[1:]))
    found = dataclasses.replace(found, cases={**found.cases, "landing": landing})
    back = read_findings(write_findings(found, tmp_path / "findings.json")).cases["landing"]
    assert back.path == landing.path and back.joints == landing.joints
    assert '"reserve": null' in (tmp_path / "findings.json").read_text()


def test_the_review_tells_where_the_joint_opens_and_who_carries_the_moment(scene, findings):
    _, found = joined_beam(scene, findings)
    blocks = joint_blocks(Material(found), "landing")
    tables = [b for b in blocks if isinstance(b, Table)]
    row = {cell.text for cell in tables[1].rows[0]}
    unit = found.cases["landing"].failing_load_N / found.cases["landing"].reserve.minimum
    assert unit == pytest.approx(600)
    assert "between 0.500 and 1.00 (300 N and 600 N)" in row and "not up to 1.20" in row
    (figure,) = (b for b in blocks if isinstance(b, Figure))
    assert "4 solved, 2 of them for this drawing alone" in figure.caption
    assert "load factor 0.500: 3.00 mm, reserve 4" in figure.alt and figure.svg.startswith("<?xml")
    (line,) = (b.text for b in blocks if isinstance(b, Text))
    # Both at one place: 2 N mm and 5 N m about y, 1 N mm and 1 N m about x
    assert "side 100 %, seat 0 %" in line and "mast exerts on beam" in line
    assert joint_blocks(Material(found), "cruise") == []
