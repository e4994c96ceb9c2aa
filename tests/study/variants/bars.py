"""A standing bar whose answer is known by hand, as a study file with variants, for the tests of this folder.

The bar is printed upright and pulled along its axis. Its beads are isotropic, so that walls and grid contract alike
sideways and share one uniform strain: EA = E (A_wall + density A_core), mass = rho (A_wall + density A_core) L.
Source: rule of mixtures, exact for equal Poisson's ratios (R. Hill, J. Mech. Phys. Solids 12 (1964) 199); a grid that
runs up the build as a prism bears along it with its share of the area.
"""

from __future__ import annotations

import os
import signal
from contextlib import suppress

from helpers_cad import draw

from fem.study.variants.series import answer_variant

WIDTH, DEPTH, LENGTH = 10.0, 8.0, 24.0
BEAD = 0.5
YOUNG, POISSON, DENSITY, TENSION = 2000.0, 0.3, 1.2e-9, 40.0
PRESSURE, SHIFT = 4.0, 0.024
STEEL_YOUNG, STEEL_DENSITY = 210_000.0, 7.85e-9

CARD = """
name = "even"
density = "1.2 g/cm^3"
source = "made up for a test"
[dry]
E = ["2 GPa", "2 GPa", "2 GPa"]
nu = { "12" = 0.3, "13" = 0.3, "23" = 0.3 }
G = { "12" = "769.2307692307692 MPa", "13" = "769.2307692307692 MPa", "23" = "769.2307692307692 MPa" }
tension = ["40 MPa", "40 MPa", "40 MPa"]
compression = ["60 MPa", "60 MPa", "60 MPa"]
shear = { "12" = "25 MPa", "13" = "25 MPa", "23" = "25 MPa" }
scatter = 0.1
[dry.source]
E = "test"
nu = "test"
G = "test"
tension = "test"
compression = "test"
shear = "test"
scatter = "test"
"""

STUDY = """
title = "Bar"
question = "How many walls?"
[bodies.bar]
solid = "bar.step"
mesh = { size = "4 mm" }
[bodies.bar.print]
polymer = "./even.toml"
build_direction = [0, 0, 1]
bead = { width = "0.5 mm", height = "0.2 mm" }
walls = 2
covers = 0
infill = { pattern = "grid", density = 0.3, angle = 0 }
[faces]
foot = { plane = { normal = [0, 0, -1], at = "min" } }
head = { plane = { normal = [0, 0, 1], at = "max" } }
left = { plane = { normal = [-1, 0, 0], at = "min" } }
front = { plane = { normal = [0, -1, 0], at = "min" } }
[supports.foot]
face = "foot"
fixed = ["z"]
[supports.left]
face = "left"
fixed = ["x"]
[supports.front]
face = "front"
fixed = ["y"]
[loads.pull]
face = "head"
pressure = "-4 MPa"
[loads.stretch]
face = "head"
displacement = { z = "0.024 mm" }
[cases]
CASE
[judge]
zoom = 0
[requirements]
reserve = 2.0
"""
PULLED = STUDY.replace("CASE", "pulled = { pull = 1.0 }")
STRETCHED = STUDY.replace("CASE", "stretched = { stretch = 1.0 }")


def put_into(folder):
    """The bar's solid and its card."""
    draw(folder / "bar.step", lambda occ: occ.addBox(0, 0, 0, WIDTH, DEPTH, LENGTH))
    (folder / "even.toml").write_text(CARD)
    return folder


def study(folder, text, name="bar.toml"):
    path = folder / name
    path.write_text(text)
    return path


def bearing_area(walls, density):
    """A_wall + density A_core [mm^2]."""
    wall = walls * BEAD
    core = max(WIDTH - 2 * wall, 0.0) * max(DEPTH - 2 * wall, 0.0)
    return WIDTH * DEPTH - (1 - density) * core


def dies_once(ground, study):
    """Answers a variant, but the first process to come here is killed in the middle of it."""
    mark = study.path.with_suffix(".killed")
    with suppress(FileExistsError), mark.open("x"):
        os.kill(os.getpid(), signal.SIGKILL)
    return answer_variant(ground, study)
