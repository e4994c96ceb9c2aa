"""A review of the told beam, and one of a study that is solved; each is made once."""

from __future__ import annotations

import dataclasses
import datetime
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))

import printed_box
from helpers_cad import draw

DATE = datetime.date(2031, 2, 3)
ODD = 'Bar #1 *bold* _low_ $x$ @me <b>&amp; [x](y) \\n `t` ~ "q" 50 % µ Ω ²'
"""A title that markup languages would stumble over."""
STUDY = """
title = '{title}'
question = "How far does it stretch under 1 kN?"
[bodies.bar]
solid = "bar.step"
mesh = {{ size = "5 mm" }}
[bodies.bar.print]
polymer = "pa12-cf"
state = "dry"
bead = {{ width = "0.45 mm", height = "0.2 mm" }}
walls = 0
raster = [0]
infill = "solid"
[faces]
left = {{ plane = {{ normal = [-1, 0, 0], at = "min" }} }}
right = {{ plane = {{ normal = [1, 0, 0], at = "max" }} }}
front = {{ plane = {{ normal = [0, -1, 0], at = "min" }} }}
bottom = {{ plane = {{ normal = [0, 0, -1], at = "min" }} }}
[supports]
wall = {{ face = "left", fixed = ["x"] }}
guide = {{ face = "front", fixed = ["y"] }}
floor = {{ face = "bottom", fixed = ["z"] }}
[loads.pull]
face = "right"
force = ["1 kN", "0 N", "0 N"]
[cases]
overload = {{ pull = 3.0 }}
[watch]
faces = ["right"]
[requirements]
reserve = 2.5
deflection = "0.2 mm"
mass = "5 g"
"""


@pytest.fixture(scope="session")
def material(findings, scene, told, folder):
    """The beam with a printed box beside it, its pictures and its shape."""
    from fem.telling.hand import read_hand
    from fem.telling.hand.kept import PART
    from fem.telling.review.material import Material, read_pictures

    whole = printed_box.printed(dataclasses.replace(findings, title=ODD), scene)[0]
    return Material(whole, read_pictures(folder / "pictures"), hand=read_hand(folder / PART))


@pytest.fixture(scope="session")
def reviewed(material, tmp_path_factory):
    """(pdf, html) of the beam's review."""
    from fem.telling.review import write_review

    return write_review(material, folder=tmp_path_factory.mktemp("review"), date=DATE)


@pytest.fixture(scope="session")
def bar(tmp_path_factory):
    """(study file, results folder, what was made) of a bar that was solved for its review."""
    from fem.study.review import review_study

    home = tmp_path_factory.mktemp("bar")
    draw(home / "bar.step", lambda occ: occ.addBox(0, 0, 0, 40, 10, 10))
    path = home / "bar.toml"
    path.write_text(STUDY.format(title=ODD), encoding="utf-8")
    made = review_study(path, out=home / "out", date=DATE)
    return path, home / "out", made
