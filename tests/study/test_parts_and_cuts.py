"""A study of an assembly: each body is one solid of the file, and a load stands on a patch cut from a face."""

import dataclasses

import numpy as np
import pytest
from helpers_cad import draw

from fem.cli import main
from fem.errors import InputError, SeveralSolidsError
from fem.judging.hotspots import NearestFace
from fem.study.check import check_study
from fem.study.clock import Clock
from fem.study.file import read_study
from fem.study.remarks import remarks_of
from fem.study.run import prepare
from fem.study.shared_mesh import make_shared_mesh, mesh_key

STUDY = """
title = "Tray and lid"
question = "Does the lid bear a weight?"

[bodies.lid]
solid = "case.step"
part = 2
metal = "6082-t6"
mesh = { size = "8 mm", finest = "4 mm" }

[faces.below]
plane = { normal = [0, 0, -1], at = "min" }
[faces.pad]
plane = { normal = [0, 0, 1], at = "max" }
cut = { low = ["5 mm", "5 mm", "13 mm"], high = ["15 mm", "10 mm", "15 mm"] }

[supports.rest]
face = "below"
fixed = ["x", "y", "z"]

[loads.weight]
face = "pad"
pressure = "0.4 MPa"

[cases]
use = { weight = 1.0 }
"""

LINE = 'question = "Does the lid bear a weight?"\n'


def written(folder, text=STUDY):
    draw(folder / "case.step", lambda occ: (occ.addBox(0, 0, 0, 40, 20, 10), occ.addBox(0, 0, 10, 40, 20, 4)))
    path = folder / "case.toml"
    path.write_text(text)
    return path


def test_a_body_is_one_solid_and_a_load_stands_on_a_patch(tmp_path):
    study = read_study(written(tmp_path))
    assert study.bodies["lid"].part == 2
    ready = prepare(study)
    assert ready.solids["lid"].volume == pytest.approx(3200)
    assert ready.groups["pad"].area == pytest.approx(50, rel=1e-9)
    forces = ready.loads["weight"].forces
    assert forces.sum(axis=0) == pytest.approx([0, 0, -20], abs=1e-9)
    turning = np.cross(ready.mesh.nodes, forces).sum(axis=0)
    assert turning == pytest.approx(np.cross([10, 7.5, 14], [0, 0, -20]), abs=1e-6)
    found = check_study(study)
    assert [p.touches for p in found.solids["lid"].parts] == [(2,), (1,)]
    assert found.totals["use"][0] == pytest.approx([0, 0, -20], abs=1e-9)


def test_check_and_faces_list_the_solids(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    path = written(tmp_path)
    assert main(["check", str(path)]) == 0
    said = capsys.readouterr().out
    rows = [line.split() for line in said.splitlines() if line.strip().startswith("case.step")]
    assert [row[1:4] for row in rows] == [["1", "none", "8,000"], ["2", "lid", "3,200"]]
    assert "touches 1" in said
    assert "part of 1 face" in said
    assert main(["faces", "case.step"]) == 0
    said = capsys.readouterr()
    assert "2 solids" in said.out
    assert "--part 2" in said.err
    assert main(["faces", "case.step", "--part", "2"]) == 0
    assert "part 2: 6 faces" in capsys.readouterr().out
    assert main(["faces", "case.step", "--part", "3"]) == 2
    assert "there is no part 3" in capsys.readouterr().err
    (tmp_path / "case.step").rename(tmp_path / "a\nb.step")
    assert main(["faces", "a\nb.step"]) == 0
    assert "beadwork faces a\\nb.step --part" in capsys.readouterr().err


def test_an_assembly_is_refused_without_a_word(tmp_path):
    study = read_study(written(tmp_path, STUDY.replace("part = 2\n", "")))
    with pytest.raises(SeveralSolidsError, match="2 solids"):
        make_shared_mesh(study, clock=Clock(None))
    fused = read_study(written(tmp_path, STUDY.replace("part = 2\n", "fused = true\n")))
    assert make_shared_mesh(fused, clock=Clock(None)).solids["lid"].volume == pytest.approx(11200)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("part = 2", "part = 0", "number of a solid"),
        ("part = 2", "part = true", "number of a solid"),
        ("part = 2", 'part = ""', "number of a solid"),
        ("part = 2", "part = 2\nfused = true", "both given"),
        ('plane = { normal = [0, 0, 1], at = "max" }\n', "", "no face is asked for"),
        ('high = ["15 mm"', 'high = ["1 mm"', "low is not below high"),
        ('at = "max"', 'at = "top"', "length"),
    ],
)
def test_keys_that_say_nothing_are_refused(tmp_path, old, new, words):
    assert old in STUDY
    with pytest.raises(InputError, match=words):
        read_study(written(tmp_path, STUDY.replace(old, new)))


def test_another_part_or_cut_is_another_ground(tmp_path):
    study = read_study(written(tmp_path))
    keys = {mesh_key(study)}
    body = study.bodies["lid"]
    for changed in (dataclasses.replace(body, part=1), dataclasses.replace(body, part=None, fused=True)):
        keys.add(mesh_key(dataclasses.replace(study, bodies={"lid": changed})))
    pad = dataclasses.replace(study.faces["pad"], cut=((5, 5, 13), (15, 11, 15)))
    keys.add(mesh_key(dataclasses.replace(study, faces={**study.faces, "pad": pad})))
    assert len(keys) == 4


def test_without_a_question_the_terminal_leaves_no_blank_line(tmp_path, capsys):
    for question in ("", LINE):
        assert main(["check", str(written(tmp_path, STUDY.replace(LINE, question)))]) == 0
        title, after = capsys.readouterr().out.splitlines()[:2]
        assert title == "Tray and lid"
        assert after.strip() == ("Does the lid bear a weight?" if question else "Solids")


def test_touching_bodies_are_not_taken_for_joined_and_places_name_their_own_faces(tmp_path):
    """The lid carries the weight alone; the place where it fails lies on the lid, however near the tray's rim is."""
    tray = '[bodies.tray]\nsolid = "case.step"\npart = 1\nmetal = "6082-t6"\nmesh = { size = "8 mm" }\n'
    both = STUDY.replace("[bodies.lid]", tray + "[bodies.lid]").replace(
        "[faces.below]\n", '[faces.below]\nbody = "lid"\n'
    )
    both = both.replace("[faces.pad]\n", '[faces.pad]\nbody = "lid"\n').replace(
        "[supports.rest]",
        '[faces.rim]\nbody = "tray"\nplane = { normal = [0, 0, 1], at = "max" }\n'
        '[supports.rim]\nface = "rim"\nfixed = ["x", "y", "z"]\n[supports.rest]',
    )
    ready = prepare(read_study(written(tmp_path, both)))
    (told,) = [c for c in remarks_of(ready) if c.kind == "not_joined"]
    assert told.decisive and "no force passes" in told.text
    alone = prepare(read_study(written(tmp_path)))
    assert "not_joined" not in {c.kind for c in remarks_of(alone)}
    near = NearestFace(ready.mesh, ready.groups)
    lid = ready.mesh.bodies.index("lid")
    for node in np.flatnonzero(ready.mesh.node_body == lid)[::7]:
        assert near(int(node))[0] in ("below", "pad") or near(int(node))[0].startswith("lid:")
