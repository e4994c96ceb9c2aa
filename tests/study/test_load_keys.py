"""Bearing, spot and depth pressure as a study says them, and what it may not say."""

import numpy as np
import pytest
from helpers_cad import draw

from fem.errors import InputError
from fem.loading.bearing import BearingKeys
from fem.loading.force import ForceKeys
from fem.loading.pressure import DepthPressure, PressureKeys
from fem.loading.spot import Spot
from fem.study.file import read_study
from fem.study.run import answer, prepare

HEAD = """
title = "Lug"
[bodies.lug]
solid = "lug.step"
metal = "6082-t6"
mesh = { size = "8 mm", finest = "3 mm" }
[faces]
bore = { cylinder = { radius = "5 mm" } }
end = { plane = { normal = [-1, 0, 0], at = "min" } }
side = { plane = { normal = [0, 1, 0], at = "max" } }
[supports.end]
face = "end"
fixed = ["x", "y", "z"]
[loads.pull]
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    def build(occ):
        body = occ.addBox(-30, -11, 0, 45, 22, 8)
        occ.cut([(3, body)], [(3, occ.addCylinder(0, 0, -1, 0, 0, 10, 5))])

    where = tmp_path_factory.mktemp("lug")
    draw(where / "lug.step", build)
    return where


def study(folder, load):
    path = folder / "lug.toml"
    path.write_text(HEAD + load)
    return read_study(path)


def complaint(folder, load):
    with pytest.raises(InputError) as caught:
        prepare(study(folder, load))
    return str(caught.value)


def test_the_keys_become_plain_numbers(folder):
    read = study(folder, 'face = "bore"\nbearing = ["1.5 kN", "0 N", "0 N"]\n').loads["pull"]
    assert read.what == BearingKeys((1500.0, 0.0, 0.0)) and not read.permanent
    spot = 'spot = { at = ["0 mm", "11 mm", "4 mm"], radius = "2 mm" }\n'
    read = study(folder, 'face = "side"\nforce = ["0 N", "-90 N", "0 N"]\n' + spot).loads["pull"]
    assert read.what == ForceKeys((0.0, -90.0, 0.0), Spot((0.0, 11.0, 4.0), 2.0))
    read = study(folder, 'face = "side"\npressure = "2 MPa"\n' + spot).loads["pull"]
    assert read.what == PressureKeys(2.0, Spot((0.0, 11.0, 4.0), 2.0))
    depth = 'pressure = { at_zero = ["0 mm", "0 mm", "1 m"], gradient = "10 kPa/m", direction = [0, 0, -1] }\n'
    read = study(folder, 'face = "side"\n' + depth).loads["pull"]
    assert read.what.pressure == DepthPressure((0.0, 0.0, 1000.0), read.what.pressure.gradient, (0.0, 0.0, -1.0))
    assert read.what.pressure.gradient == pytest.approx(1e-5, rel=1e-12)


@pytest.mark.parametrize(
    ("load", "words"),
    [
        ('face = "bore"\nbearing = ["1 kN", "0 N"]\n', "loads.pull.bearing: needs three entries, not 2"),
        ('bearing = ["1 kN", "0 N", "0 N"]\n', "bearing needs a face to act on"),
        ('face = "bore"\nbearing = ["1 kN", "0 N", "3 N"]\n', "loads.pull.bearing: 3 N of it point along"),
        ('face = "side"\nbearing = ["1 kN", "0 N", "0 N"]\n', "is no cylinder"),
        ('face = "side"\npressure = "3 mm"\n', "loads.pull.pressure: "),
        ('face = "side"\npressure = { gradient = "1 kPa/m", direction = [0, 0, 1] }\n', "pressure.at_zero: this key"),
        (
            'face = "side"\npressure = { at_zero = ["0 m", "0 m", "0 m"], '
            'gradient = "0 kPa/m", direction = [0, 0, 1] }\n',
            'pressure.gradient: "0 kPa/m" must be more than zero',
        ),
        (
            'face = "side"\npressure = { at_zero = ["0 m", "0 m", "0 m"], '
            'gradeint = "1 kPa/m", direction = [0, 0, 1] }\n',
            "pressure.gradeint: unknown key. Nearest: gradient",
        ),
        (
            'face = "side"\nwrench = { force = ["1 N", "0 N", "0 N"] }\n'
            'spot = { at = ["0 m", "0 m", "0 m"], radius = "1 mm" }\n',
            "wrench does not take the key spot",
        ),
        (
            'face = "side"\nforce = ["1 N", "0 N", "0 N"]\nspot = { at = ["0 m", "0 m", "0 m"], radius = "1 mm" }\n',
            "loads.pull.spot.at: the point is 11 mm away from the face",
        ),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(folder, load, words):
    line = complaint(folder, load)
    assert words in line and "\n" not in line


def test_a_bearing_study_stresses_the_lug_more_than_a_glued_pin(folder):
    # w/d = 2.2 in aluminium under 1.5 kN: the whole bore pulls on the far half as if the pin were glued in
    bearing = answer(prepare(study(folder, 'face = "bore"\nbearing = ["1.5 kN", "0 N", "0 N"]\n'))).findings
    facts = bearing.loads["pull"]
    assert facts["kind"] == "bearing"
    assert facts["peak_bearing_pressure_MPa"] == pytest.approx(2 * 1500 / (np.pi * 5 * 8), rel=0.02)
    assert facts["mean_bearing_pressure_MPa"] == pytest.approx(1500 / (10 * 8), rel=0.02)
    assert facts["centre_mm"] == pytest.approx([0, 0, 4], abs=1e-6)
    assert not any("glued" in c.text for c in bearing.cautions)
    glued = answer(prepare(study(folder, 'face = "bore"\nforce = ["1.5 kN", "0 N", "0 N"]\n'))).findings
    assert any("write bearing in place of force" in c.text and c.decisive for c in glued.cautions)
    hole = [min(s.reserve for s in f.cases["all"].hot_spots if s.face == "bore") for f in (bearing, glued)]
    assert hole[0] < 0.65 * hole[1]
