"""[judge]: what of a study is solved bead by bead, its ranges, and how options and variants change it."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from test_file import WHOLE, complaint, written

from fem.cli import _parser
from fem.cli.judging import changes_of
from fem.errors import InputError
from fem.study.change import homogenised, zoomed_as
from fem.study.file import read_study
from fem.study.fingerprint import fingerprint, mesh_key
from fem.study.plans import Judging
from fem.study.variants.expand import expand


def judge(folder, table: str) -> Judging:
    return read_study(written(folder, WHOLE + table)).judge


def test_nothing_said_leaves_the_choice_to_the_program(tmp_path):
    assert judge(tmp_path, "") == Judging(zoom=None, whole=False, voxel=None)


def test_all_three_are_read(tmp_path):
    table = '[judge]\nzoom = 0\nwhole = true\nvoxel = "112.5 um"\n'
    assert judge(tmp_path, table) == Judging(zoom=0, whole=True, voxel=pytest.approx(0.1125, rel=1e-12))


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("zoom = -1", "judge.zoom: must be at least 0, not -1."),
        ("zoom = 21", "judge.zoom: must be at most 20, not 21."),
        ("zoom = 2.5", "judge.zoom: must be a whole number"),
        ("zoom = true", "judge.zoom: must be a whole number"),
        ('whole = "yes"', "judge.whole: must be true or false"),
        ("voxel = 0.2", "judge.voxel: 0.2 has no unit"),
        ('voxel = "0 mm"', "must be more than zero"),
        ('voxel = "0.451 mm"', "judge.voxel: 0.451 mm is wider than a bead of saddle, 0.45 mm"),
        ('voxel = "0.0374 mm"', "judge.voxel: 0.0374 mm is less than 1/12 of a bead of saddle, 0.0375 mm."),
        ("zooms = 3", "judge.zooms: unknown key. Nearest: zoom."),
    ],
)
def test_what_cannot_be_is_refused(tmp_path, table, words):
    assert words in complaint(tmp_path, "[requirements]", f"[judge]\n{table}\n[requirements]")


@pytest.mark.parametrize("voxel", ["0.45 mm", "0.0375 mm"])
def test_the_ends_of_the_range_belong_to_it(tmp_path, voxel):
    assert judge(tmp_path, f'[judge]\nvoxel = "{voxel}"\n').voxel == pytest.approx(float(voxel.split()[0]), rel=1e-12)


def test_a_misspelt_table_is_named(tmp_path):
    assert "Nearest: judge." in complaint(tmp_path, "[requirements]", "[juge]\nzoom = 3\n[requirements]")


def test_options_come_before_the_file(tmp_path):
    study = read_study(written(tmp_path, WHOLE + "[judge]\nzoom = 1\n"))
    given = _parser().parse_args(["run", "s.toml", "--zoom", "4", "--whole", "--voxel", "0.15 mm"])
    assert study.with_(changes_of(given)).judge == Judging(4, True, pytest.approx(0.15, rel=1e-12))
    none = _parser().parse_args(["report", "s.toml", "--zoom", "0"])
    assert changes_of(none) == {"judge.zoom": 0}
    assert changes_of(_parser().parse_args(["run", "s.toml"])) == {}
    for wrong in ("-1", "21", "1,5", "two", "1" * 30):
        with pytest.raises(InputError, match=r"^--zoom: must be a whole number from 0 to 20"):
            changes_of(_parser().parse_args(["run", "s.toml", "--zoom", wrong]))
    with pytest.raises(InputError, match=r"judge\.zoom: must be at most 20"):
        study.with_({"judge.zoom": 99})


def test_variants_may_change_it_and_the_bead_that_the_voxel_suits(tmp_path):
    sweep = '[judge]\nvoxel = "0.4 mm"\n[sweep]\n"judge.zoom" = [0, 2]\n'
    sweep += '"bodies.saddle.print.bead.width" = ["0.45 mm", "0.35 mm"]\n'
    found = expand(read_study(written(tmp_path, WHOLE + sweep)))
    zooms = {v.study.judge.zoom for v in found if v.study is not None}
    assert zooms == {0, 2}
    refused = [v for v in found if v.study is None]
    assert len(refused) == 2 and all("wider than a bead" in v.error for v in refused)


def test_results_depend_on_it_and_the_mesh_does_not(tmp_path):
    plain = read_study(written(tmp_path, WHOLE))
    for change in ({"judge.zoom": 3}, {"judge.whole": True}, {"judge.voxel": "0.2 mm"}):
        other = plain.with_(change)
        assert fingerprint(other) != fingerprint(plain), change
        assert mesh_key(other) == mesh_key(plain), change


def test_ranking_takes_no_notice_of_it(tmp_path):
    table = '[judge]\nzoom = 3\nwhole = true\nvoxel = "0.2 mm"\n'
    plain, asked = read_study(written(tmp_path, WHOLE)), read_study(written(tmp_path, WHOLE + table))
    assert homogenised(asked).judge == Judging(zoom=0) == homogenised(plain).judge
    assert fingerprint(homogenised(asked)) == fingerprint(homogenised(plain)), "directions and variants stay kept"
    assert fingerprint(asked) != fingerprint(plain)


def test_a_leader_is_the_variant_with_the_zooms_of_the_study(tmp_path):
    table = '[judge]\nzoom = 3\nwhole = true\nvoxel = "0.2 mm"\n[sweep]\n"bodies.saddle.print.walls" = [2, 3]\n'
    study = read_study(written(tmp_path, WHOLE + table))
    variant = expand(homogenised(study))[0].study
    leader = zoomed_as(variant, study)
    assert leader.judge == Judging(zoom=3, whole=False, voxel=pytest.approx(0.2)) and variant.judge.zoom == 0
    assert leader.variant == variant.variant == "2 walls" and leader.bodies == variant.bodies
    assert leader.changes["judge"] == '{ zoom = 3, voxel = "0.2 mm" }'
    with pytest.raises(InputError, match="wider than a bead of saddle"):
        zoomed_as(variant, study.with_({"judge.voxel": "0.5 mm", "bodies.saddle.print.bead.width": "0.6 mm"}))
