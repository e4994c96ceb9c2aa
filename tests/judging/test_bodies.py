"""What a body is, weighs and takes to print, from the study to the findings and the cautions."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from helpers_cad import draw
from helpers_fe import box

from fem.errors import CardError, InputError
from fem.judging.bodies import describe_bodies, print_cautions
from fem.judging.cautions import texts_of
from fem.printing.mixing import printed_field
from fem.printing.polymer import load_card
from fem.study.file import read_study
from fem.study.prepare import body_print
from fem.study.run import prepare

X, Y, Z = 40.0, 30.0, 16.0
DEEP, HIGH = 3 * 0.45, 4 * 0.2
DENSITY = 1.06
"""Of pa12-cf [mg/mm^3]."""
STUDY = """
title = "Block"
question = "What does it weigh?"
[bodies.part]
solid = "block.step"
mesh = { size = "5 mm" }
[bodies.part.print]
polymer = "pa12-cf"
infill = { pattern = "grid", density = 0.3 }
[faces]
left = { plane = { normal = [-1, 0, 0], at = "min" } }
right = { plane = { normal = [1, 0, 0], at = "max" } }
[supports.wall]
face = "left"
fixed = ["x", "y", "z"]
[loads.pull]
face = "right"
force = ["1 kN", "0 N", "0 N"]
"""
PRINT = 'polymer = "pa12-cf"'
GRID = 'infill = { pattern = "grid", density = 0.3 }'


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("block")
    draw(folder / "block.step", lambda occ: occ.addBox(0, 0, 0, X, Y, Z))
    return folder


def read(folder, old="", new=""):
    assert old in STUDY
    path = folder / "block.toml"
    path.write_text(STUDY.replace(old, new, 1) if old else STUDY)
    return read_study(path)


def described(folder, old="", new="", *, size=(X, Y, Z), cells=(8, 6, 4)):
    """Findings of a box that is printed as the study says."""
    body = read(folder, old, new).bodies["part"]
    mesh, made = box(size, cells), {"part": body_print(body)}
    printed = printed_field(mesh, bodies=made)
    return describe_bodies(mesh, printed, made=made, keys={"part": body.print})["part"]


@pytest.fixture(scope="module")
def block(folder):
    return described(folder)


def test_zones_and_masses_by_hand(block):
    volume, inner = X * Y * Z, (X - 2 * DEEP) * (Y - 2 * DEEP)
    exact = {"wall": volume - inner * Z, "cover": inner * 2 * HIGH, "core": inner * (Z - 2 * HIGH)}
    assert block.volume_mm3 == pytest.approx(volume, rel=1e-9)
    assert block.box_mm == pytest.approx(np.array([[0, 0, 0], [X, Y, Z]]))
    assert sum(block.zones.values()) == pytest.approx(1, abs=1e-9)
    assert sum(block.zone_mass_g.values()) == pytest.approx(block.mass_g, rel=1e-9)
    assert set(block.zones) == set(block.zone_mass_g) == set(exact)
    for zone, held in exact.items():
        assert block.zones[zone] == pytest.approx(held / volume, rel=0.01)
        weight = held * DENSITY * 1e-3 * (0.3 if zone == "core" else 1)
        assert block.zone_mass_g[zone] == pytest.approx(weight, rel=0.015)
    assert block.mass_g < 0.7 * volume * DENSITY * 1e-3  # far from a solid block


def test_what_the_print_takes_follows_from_the_mass(block):
    plan, bead = block.print, 0.45 * 0.2
    solid = block.mass_g / DENSITY * 1e3  # beads without the air [mm^3]
    assert plan.layers == 80
    assert plan.bead_length_m == pytest.approx(solid / bead / 1000, rel=1e-9)
    assert plan.filament_m == pytest.approx(solid / (math.pi * 0.875**2) / 1000, rel=1e-9)
    assert plan.time_h == pytest.approx((solid / bead / 45 + 80 * 3) / 3600, rel=1e-9)
    assert plan.cost == pytest.approx(block.mass_g * 0.06, rel=1e-9)
    left_out = ("build direction", "walls", "covers", "raster", "bead width", "bead height")
    assert plan.assumed == (*left_out, "speed", "filament diameter", "price", "infill angle")
    assert (plan.pattern, plan.infill_angle_deg, plan.thin_share) == ("grid", 45.0, 0.0)
    assert plan.infill_density == pytest.approx(0.3, rel=0.01)
    # A grid of density 2 s - s^2 has walls L = w / s apart
    assert plan.cell_mm[:2] == pytest.approx([0.45 / (1 - math.sqrt(0.7))] * 2, rel=0.01)
    assert 0 <= plan.cell_stiffness_mesh_change < 0.02


def test_what_is_given_is_taken(folder, block):
    given = PRINT + '\nspeed = "30 mm/s"\nfilament_diameter = "2.85 mm"\nprice_per_kg = 20.0\n'
    plan = described(folder, PRINT, given + "build_direction = [1, 0, 0]").print
    assert plan.assumed == ("walls", "covers", "raster", "bead width", "bead height", "infill angle")
    assert (plan.speed_mm_per_s, plan.filament_diameter_mm, plan.price_per_kg) == (30, 2.85, 20)
    assert plan.layers == 200  # built along its longest side
    angled = described(folder, "density = 0.3", "density = 0.3, angle = 0")
    assert "infill angle" not in angled.print.assumed
    assert angled.print.infill_angle_deg == 0
    assert angled.mass_g == pytest.approx(block.mass_g, rel=1e-6)


def test_a_solid_print_and_a_metal(folder):
    solid = described(folder, GRID, "")
    assert set(solid.zones) == {"wall", "solid"}
    assert solid.mass_g == pytest.approx(X * Y * Z * DENSITY * 1e-3, rel=1e-9)
    assert (solid.print.cell_mm, solid.print.infill_density) == (None, 1.0)
    assert "infill angle" not in solid.print.assumed
    mesh = box((X, Y, Z), (2, 2, 2))
    body = replace(read(folder).bodies["part"], print=None, metal="steel")
    made = {"part": body_print(body)}
    metal = describe_bodies(mesh, printed_field(mesh, bodies=made), made=made, keys={"part": None})["part"]
    assert metal.zones == {"metal": pytest.approx(1)}
    assert metal.mass_g == pytest.approx(X * Y * Z * load_card("steel").density * 1e6, rel=1e-9)
    assert (metal.print, metal.print_axes) == (None, None)
    assert print_cautions({"solid": solid, "metal": metal}) == ()


def test_a_sound_print_has_no_cautions(block):
    assert print_cautions({"part": block}) == ()


def test_walls_that_fill_the_part_are_told_not_refused(folder):
    full = described(folder, PRINT, PRINT + "\nwalls = 40")
    assert full.zones["wall"] == pytest.approx(1, abs=1e-9)
    assert texts_of(print_cautions({"part": full})) == (
        "Body part: walls and covers fill the part; the grid infill has no room in it.",
    )


def test_few_cells_across_are_told(folder):
    # Cells of 2.75 mm: four of them are 11.0 mm
    (line,) = texts_of(print_cautions({"part": described(folder, size=(X, Y, 10.5), cells=(8, 6, 3))}))
    assert line.startswith("Body part: a cell of its grid infill is 2.75 mm wide, the part 10.5 mm across;")
    assert print_cautions({"part": described(folder, size=(X, Y, 11.5), cells=(8, 6, 3))}) == ()


def test_a_rough_cell_is_told(block):
    rough = replace(block, print=replace(block.print, cell_stiffness_mesh_change=0.034))
    assert texts_of(print_cautions({"part": rough})) == (
        "Body part: the stiffness of its infill's cell moved by 3.4 % when its mesh was last refined.",
    )


def test_each_of_two_bodies_keeps_its_own(folder, block):
    from fem.part.tetmesh import joined

    left = box((X, Y, Z), (8, 6, 4))
    right = replace(left, nodes=left.nodes + np.array([X + 5, 0, 0]))
    right = replace(right, bodies=("other",), faces=tuple(replace(f, body="other") for f in right.faces))
    keys = read(folder).bodies["part"]
    solid = read(folder, GRID, "").bodies["part"]
    mesh, made = joined([left, right]), {"part": body_print(keys), "other": body_print(solid)}
    both = describe_bodies(
        mesh, printed_field(mesh, bodies=made), made=made, keys={"part": keys.print, "other": solid.print}
    )
    assert both["part"].mass_g == pytest.approx(block.mass_g, rel=1e-3)
    assert both["other"].mass_g == pytest.approx(X * Y * Z * DENSITY * 1e-3, rel=1e-9)
    assert both["other"].box_mm[0][0] == pytest.approx(X + 5)
    assert set(both["other"].zones) == {"wall", "solid"}


SLIPS = {
    "state": (PRINT, PRINT + '\nstate = "damp"', CardError, 'no state "damp". It has: dry, conditioned, saturated.'),
    "temperature": (PRINT, PRINT + '\ntemperature = "120 degC"', CardError, "reaches from 0 to 80 degC, not to 120"),
    "card": (PRINT, 'polymer = "pa12cf"', CardError, "pa12cf"),
    "metal as print": (PRINT, 'polymer = "steel"', CardError, "steel is a metal and has no bead direction."),
    "print as metal": (
        STUDY[STUDY.index("[bodies.part.print]") : STUDY.index("[faces]")],
        'metal = "pa12-cf"\n',
        CardError,
        "pa12-cf is a printed polymer, not a metal.",
    ),
    "density too low": ("0.3", "0.01", InputError, 'infill density 0.01 cannot be made in the pattern "grid"'),
    "density too high": ("0.3", "0.97", InputError, 'or print it "solid".'),
    "density above one": ("0.3", "30", InputError, "bodies.part.print.infill.density: must be at most 1, not 30."),
    "pattern": (
        '"grid"',
        '"gird"',
        InputError,
        'no infill pattern is called "gird". There are solid, woodpile, grid,',
    ),
    "bead": (PRINT, PRINT + '\nbead = { height = "0.6 mm" }', InputError, "bead height 0.6 mm is above its width"),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_a_print_that_cannot_be_gets_one_line(slip, folder):
    old, new, kind, words = SLIPS[slip]
    with pytest.raises(kind) as caught:
        prepare(read(folder, old, new))
    line = str(caught.value)
    assert words in line
    assert "\n" not in line
    assert caught.value.exit_status == 2
