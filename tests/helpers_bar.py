"""A bar with walls, covers and a gyroid core, drawn and studied as a user would, to be solved in all three ways."""

from helpers_cad import draw

from fem.study.beads import surroundings
from fem.study.file import read_study
from fem.study.run import prepare
from fem.study.solved import solve_cases_of

SIZE = (20.0, 6.0, 6.0)

STUDY = """
title = "Bar"
question = "What does it bear?"
[bodies.bar]
solid = "bar.step"
mesh = {{ size = "{mesh} mm" }}
[bodies.bar.print]
polymer = "pa12-cf"
state = "dry"
build_direction = [0, 0, 1]
raster_zero = [1, 0, 0]
walls = 2
covers = 4
infill = {{ pattern = "gyroid", density = 0.4 }}
[faces]
back = {{ plane = {{ normal = [-1, 0, 0], at = "min" }} }}
end = {{ plane = {{ normal = [1, 0, 0], at = "max" }} }}
[supports.clamp]
face = "back"
fixed = ["x", "y", "z"]
[loads.tension]
face = "end"
force = ["500 N", "0 N", "0 N"]
[loads.bending]
face = "end"
force = ["0 N", "0 N", "-20 N"]
[loads.torsion]
face = "end"
wrench = {{ moment = ["500 N mm", "0 N mm", "0 N mm"] }}
[cases]
tension = {{ tension = 1.0 }}
bending = {{ bending = 1.0 }}
torsion = {{ torsion = 1.0 }}
[watch]
faces = ["end"]
"""


def prepared_bar(folder, *, mesh=1.5, size=SIZE):
    """The bar as a study, ready to be solved."""
    draw(folder / "bar.step", lambda occ: occ.addBox(0, 0, 0, *size))
    path = folder / "bar.toml"
    path.write_text(STUDY.format(mesh=mesh))
    return prepare(read_study(path))


def solved_bar(folder, **given):
    """The prepared bar, its cases solved and judged as a homogenised part, and the bar as a body of beads."""
    ready = prepared_bar(folder, **given)
    return ready, solve_cases_of(ready), surroundings(ready).bodies["bar"]
