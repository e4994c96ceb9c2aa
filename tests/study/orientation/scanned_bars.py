"""Bars whose best build direction theory gives, as study files."""

from __future__ import annotations

from helpers_cad import draw

LENGTH, WIDTH, HEIGHT = 30.0, 8.0, 6.0
FORCE = 500.0
FACES = """
[faces]
left = { plane = { normal = [-1, 0, 0], at = "min" } }
right = { plane = { normal = [1, 0, 0], at = "max" } }
bottom = { plane = { normal = [0, 0, -1], at = "min" } }
"""
PRINT = """
[bodies.bar.print]
polymer = "pa12-cf"
build_direction = [0, 0, 1]
raster = [0]
walls = 0
infill = "solid"
"""
HEAD = """
title = "Bar <of> tests"
question = "Which way up?"
[bodies.bar]
solid = "bar.step"
mesh = { size = "SIZE" }
"""
# Two pulls in balance; a foundation far softer than the part stops it from floating away
PULLED = (
    HEAD.replace("SIZE", "9 mm")
    + PRINT
    + FACES
    + f"""
[supports.float]
face = "bottom"
foundation = {{ normal = "0.001 N/mm^3", tangential = "0.001 N/mm^3" }}
[loads.there]
face = "right"
force = ["{FORCE} N", "0 N", "0 N"]
[loads.back]
face = "left"
force = ["-{FORCE} N", "0 N", "0 N"]
[cases]
pull = {{ there = 1.0, back = 1.0 }}
[requirements]
reserve = 2.0
"""
)
TIP = 20.0
BENT = (
    HEAD.replace("SIZE", "6 mm")
    + PRINT
    + FACES
    + f"""
[supports.wall]
face = "left"
fixed = ["x", "y", "z"]
[loads.push]
face = "right"
force = ["0 N", "0 N", "-{TIP} N"]
[cases]
tip = {{ push = 1.0 }}
[watch]
faces = ["right"]
"""
)
LONG = 80.0


def write(folder, text, *, length=LENGTH, name="bar.toml"):
    """The study file, with its solid beside it."""
    if not (folder / "bar.step").exists():
        draw(folder / "bar.step", lambda occ: occ.addBox(0, 0, 0, length, WIDTH, HEIGHT))
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path
