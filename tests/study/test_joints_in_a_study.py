"""Bodies that meet at joints: glued ones against one body, bearing ones against the same load applied anew."""

import numpy as np
import pytest
from helpers_cad import draw

from fem.errors import BeadworkError, FreeBodyError, InputError
from fem.study.check import check_study
from fem.study.file import read_study
from fem.study.run import answer

BEAM = """
title = "A beam of two halves"
[bodies.left]
solid = "left.step"
metal = "6082-t6"
mesh = { size = "7 mm" }
[bodies.right]
solid = "right.step"
metal = "6082-t6"
mesh = { size = "5 mm" }
[faces]
root = { body = "left", plane = { normal = [-1, 0, 0], at = "min" } }
end = { body = "left", plane = { normal = [1, 0, 0], at = "max" } }
start = { body = "right", plane = { normal = [-1, 0, 0], at = "min" } }
tip = { body = "right", plane = { normal = [1, 0, 0], at = "max" } }
[supports.wall]
face = "root"
fixed = ["x", "y", "z"]
[joints.seam]
faces = ["end", "start"]
kind = "bonded"
[loads.hang]
face = "tip"
force = ["0 N", "0 N", "-100 N"]
[watch]
faces = ["tip"]
"""


def written(folder, text=BEAM, *, gap=0.0):
    """Two boxes end to end along x, whose meshes share no nodes, and one box of both."""
    draw(folder / "left.step", lambda occ: occ.addBox(0, 0, 0, 40, 10, 12))
    draw(folder / "right.step", lambda occ: occ.addBox(40 + gap, 0, 0, 40, 10, 12))
    draw(folder / "whole.step", lambda occ: occ.addBox(0, 0, 0, 80, 10, 12))
    path = folder / "beam.toml"
    path.write_text(text)
    return path


def test_a_glued_beam_bends_as_one_body_does(tmp_path):
    glued = answer(read_study(written(tmp_path))).findings
    one = (
        BEAM[: BEAM.index("[bodies.right]")].replace("left.step", "whole.step").replace("7 mm", "5 mm")
        + BEAM[BEAM.index("[faces]") :]
    )
    one = "\n".join(line for line in one.splitlines() if not line.startswith(("end =", "start =")))
    one = one.replace('[joints.seam]\nfaces = ["end", "start"]\nkind = "bonded"\n', "").replace('"right"', '"left"')
    (tmp_path / "one.toml").write_text(one)
    whole = answer(read_study(tmp_path / "one.toml")).findings
    moved, ours = (f.cases["all"].faces["tip"].displacement_mm for f in (whole, glued))
    assert ours == pytest.approx(moved, rel=0.01, abs=1e-4)
    seam = glued.cases["all"].joints["seam"]
    assert np.abs(seam.force_N) == pytest.approx([0, 0, 100], abs=1e-4)
    assert np.abs(seam.moment_Nmm) == pytest.approx([0, 4000, 0], abs=0.01)
    assert seam.state == "glued"
    assert glued.stiffness["tip"].matrix[2][2] == pytest.approx(whole.stiffness["tip"].matrix[2][2], rel=0.01)


BEARING = (
    BEAM.replace('kind = "bonded"', 'friction = 0.3\nclearance = "0.02 mm"')
    .replace('force = ["0 N", "0 N", "-100 N"]', 'force = ["-1 kN", "0 N", "-90 N"]')
    .replace("[watch]", "[requirements]\nreserve = 1.5\n[watch]")
)


def test_a_bearing_joint_at_its_load_of_failure_has_a_reserve_of_one(tmp_path):
    # What touches changes with the load, so the factor is no quotient: the second way is to apply that very load
    first = answer(read_study(written(tmp_path, BEARING))).findings
    reserve = first.cases["all"].reserve.minimum
    seam = first.cases["all"].joints["seam"]
    assert abs(seam.force_N[0]) == pytest.approx(1000, rel=1e-5)
    # 90 N on 40 mm put the pressure 2.4 mm from the edge: it reaches over 0.4 of the face if even, 0.6 if a triangle
    assert 0.4 < seam.touching < 0.6
    path = first.cases["all"].path
    assert [p.factor for p in path] == sorted(p.factor for p in path)
    assert {p.asked_by for p in path} >= {"case", "reserve"} and sum(p.asked_by == "path" for p in path) <= 3
    last = min(path, key=lambda p: abs(p.factor - reserve))
    assert last.factor == pytest.approx(reserve, rel=0.005) and last.reserve == pytest.approx(1.0, rel=0.01)
    study = read_study(tmp_path / "beam.toml").with_({"cases": {"all": {"hang": reserve}}})
    again = answer(study).findings
    assert again.cases["all"].reserve.minimum == pytest.approx(1.0, rel=0.01)
    told = {caution.kind for caution in first.cautions}
    assert "stiffness_without_contact" in told


def test_the_stiffness_across_a_bearing_joint_is_that_of_both_halves_in_series(tmp_path):
    # 0.02 mm apart, yet told as touching: E A / L of a bar of both; what the wall holds of its width adds some 0.1 %
    told = answer(read_study(written(tmp_path, BEARING))).findings
    young = 70_000.0
    assert 1 / told.stiffness["tip"].compliance[0][0] == pytest.approx(young * 10 * 12 / 80, rel=0.01)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('faces = ["end", "start"]', 'faces = ["end", "strat"]', 'no face "strat"'),
        ('faces = ["end", "start"]', 'faces = ["end"]', "faces"),
        ('faces = ["end", "start"]', 'faces = ["end", "end"]', "cannot meet itself"),
        ('faces = ["end", "start"]', 'faces = ["end", "root"]', "both faces are of body left"),
        ('faces = ["end", "start"]', 'faces = ["end", "tip"]', "do not face each other"),
        ('kind = "bonded"', 'kind = "glued"', "glued"),
        ('kind = "bonded"', 'kind = "bonded"\nfriction = 0.2', "neither friction"),
        ('kind = "bonded"', "friction = -0.2", "-0.2"),
        ('kind = "bonded"', 'clearance = "0.1"', "unit"),
        ('kind = "bonded"', 'clearance = "60 mm"', "clearance"),
    ],
)
def test_a_joint_that_cannot_be_is_refused_in_a_line(tmp_path, old, new, said):
    with pytest.raises(InputError) as caught:
        check_study(written(tmp_path, BEAM.replace(old, new)))
    assert said in str(caught.value)


def test_a_body_that_a_joint_leaves_free_is_named_with_its_motion(tmp_path):
    loose = (
        BEAM.replace('kind = "bonded"', "friction = 0.0").replace('"-100 N"]', '"0 N"]').replace('["0 N"', '["-50 N"')
    )
    with pytest.raises(FreeBodyError, match="body right is free to slide along y, slide along z"):
        answer(read_study(written(tmp_path, loose)))
    with pytest.raises(BeadworkError, match="pushed away"):
        answer(read_study(written(tmp_path, loose.replace('"-50 N"', '"50 N"').replace("0.0", "0.3"))))
