"""Findings written to a file and read back are the same findings."""

from __future__ import annotations

import dataclasses
import json
import math
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "telling"))

import beam
import printed_box

from fem.errors import InputError
from fem.judging.findings import Findings, as_json, read_findings, write_findings


@pytest.fixture(scope="module")
def findings():
    scene = beam.beam_scene(beam.beam_mesh((6, 2, 2)))
    return printed_box.printed(beam.beam_findings(scene), scene)[0]


def _same(one: Findings, other: Findings) -> bool:
    """Lists in the free parts (loads, trust) come back as lists, so the comparison is made in JSON's own terms."""
    return json.loads(as_json(one)) == json.loads(as_json(other))


def test_what_was_written_comes_back(findings, tmp_path):
    back = read_findings(write_findings(findings, tmp_path / "findings.json"))
    assert _same(back, findings)
    for name in ("bodies", "mesh", "faces", "cases", "stiffness", "requirements", "cautions", "seconds"):
        assert getattr(back, name) == getattr(findings, name)

    assert back.worst_case == findings.worst_case
    changed = dataclasses.replace(findings, peak_memory_MB=1.0)
    assert not _same(back, changed)


def test_unlimited_numbers_come_back_as_such(findings, tmp_path):
    case = findings.cases["cruise"]
    free = dataclasses.replace(case.reserve, minimum=math.inf, nonsingular_minimum=math.inf)
    cases = {"cruise": dataclasses.replace(case, reserve=free)}
    stiff = dataclasses.replace(findings.stiffness["tip"], matrix=((math.inf, 0.0), (0.0, 2.0)))
    unlimited = dataclasses.replace(findings, cases=cases, stiffness={"tip": stiff})
    back = read_findings(write_findings(unlimited, tmp_path / "findings.json"))
    assert back.cases["cruise"].reserve.minimum == math.inf
    assert back.stiffness["tip"].matrix == ((math.inf, 0.0), (0.0, 2.0))
    assert back.cases["cruise"].reserve.criteria["tsai_wu"] is None


def _without_mass(data):
    del data["bodies"]["beam"]["mass_g"]


def _of_another_kind(data):
    data["cautions"] = "one"


def _with_more(data):
    data["mesh"]["corners"] = 3


@pytest.mark.parametrize("spoil", [_without_mass, _of_another_kind, _with_more, lambda data: data.clear()])
def test_other_data_are_refused(findings, tmp_path, spoil):
    data = json.loads(as_json(findings))
    spoil(data)
    path = tmp_path / "findings.json"
    path.write_text(json.dumps(data))
    with pytest.raises(InputError, match="no findings of this version"):
        read_findings(path)


def test_a_file_cut_short_or_missing_is_refused(findings, tmp_path):
    path = tmp_path / "findings.json"
    with pytest.raises(InputError, match="there are no findings"):
        read_findings(path)
    path.write_text(as_json(findings)[:-200])
    with pytest.raises(InputError, match="no findings of this version"):
        read_findings(path)
