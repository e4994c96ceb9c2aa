"""The study file: the whole form reads into plain numbers, and every slip gets one line with the right words."""

from __future__ import annotations

import hashlib
import math
from pathlib import Path

import pytest

from fem.errors import InputError
from fem.loading.acceleration import AccelerationKeys
from fem.loading.displacement import DisplacementKeys
from fem.loading.fixed import FixedKeys
from fem.loading.force import ForceKeys
from fem.loading.preload import PreloadKeys
from fem.loading.pressure import PressureKeys
from fem.loading.temperature_change import TemperatureChangeKeys
from fem.loading.wing import WingKeys
from fem.loading.wrench import WrenchKeys
from fem.study.file import read_study
from fem.study.fingerprint import fingerprint
from fem.study.plans import Study

STUDIES = Path(__file__).parents[2] / "studies"

WHOLE = """
title = "Wing saddle"
question = "Does it bear a hard landing?"

[bodies.saddle]
solid = "saddle.step"
mesh = { size = "4 mm", finest = "1 mm" }
[bodies.saddle.print]
polymer = "pa12-cf"
state = "conditioned"
build_direction = [0, 0, 1]
bead = { width = "0.45 mm", height = "0.20 mm" }
walls = 4
covers = 5
raster = [45, -45]
infill = "solid"

[bodies.mast]
solid = "mast.stl"
unit = "cm"
metal = "6082-t6"

[faces]
wing_seat = { body = "saddle", plane = { normal = [0, 0, -1], at = "min" } }
land = { body = "saddle", plane = { normal = [0, 0, 1], at = "1.4 cm" } }
bolt_holes = { body = "saddle", cylinder = { radius = "4.2 mm" } }
socket = { body = "saddle", near = ["40 mm", "0 mm", "12 mm"] }
mast_top = { body = "mast", id = 7 }
inside = { body = "saddle", within = { low = ["0 mm", "0 mm", "0 mm"], high = ["1 in", "1 m", "20 mm"] } }

[supports.mast_top]
face = "mast_top"
fixed = ["x", "y", "z"]
[supports.slide]
face = "land"
fixed = "normal"
[supports.glue]
face = "socket"
foundation = { normal = "4000 N/mm^3", tangential = "1.5 GN/m^3" }
[supports.table]
face = "socket"
foundation = { normal = "40 N/mm^3", push_only = true }
[supports.stay]
face = "land"
spring = { z = "20 N/mm", x = "3 kN/m" }
[supports.rubber]
face = "land"
spring = "200 N/mm"

[loads.lift]
face = "wing_seat"
wing.mass = "240 kg"
wing.weight_fraction = 0.7
wing.span = "1.4 m"
wing.drag_to_lift = 0.08
wing.centre_of_pressure = ["30 mm", "0 mm", "-20 mm"]
[loads.bolts]
preload = { holes = "bolt_holes", against = "wing_seat", force = "9 kN", washer = "16 mm" }
[loads.push]
face = "land"
force = ["1 kN", "0 N", "-5 N"]
permanent = true
[loads.wind]
face = "land"
pressure = "2 bar"
[loads.twist]
face = "land"
wrench = { moment = ["0 N*m", "0 N*m", "8 N*m"], at = ["0 mm", "0 mm", "1 cm"] }
[loads.settle]
face = "socket"
displacement = { z = "0.1 mm" }
[loads.gravity]
acceleration = ["0 m/s^2", "0 m/s^2", "-9.80665 m/s^2"]
[loads.sun]
temperature_change = { by = "40 K", bodies = ["saddle"] }

[cases]
cruise = { lift = 1.0, bolts = 1.0 }
landing = { lift = 4, bolts = 1.0 }

[points]
tip = ["140 mm", "0 mm", "0 mm"]
[watch]
faces = ["wing_seat"]

[requirements]
reserve = 2.0
rotation = { wing_seat = "0.4 deg" }
displacement = { land = "0.2 mm" }
mass = "220 g"
deflection = "1.5 mm"
"""


def written(folder: Path, text: str) -> Path:
    for solid in ("saddle.step", "mast.stl"):
        (folder / solid).write_text(solid, encoding="utf-8")
    study = folder / "study.toml"
    study.write_text(text, encoding="utf-8")
    return study


def complaint(folder: Path, old: str, new: str) -> str:
    """The line that a study gets in which `old` is replaced by `new`; without the file's name in front."""
    assert WHOLE.count(old) >= 1, f"{old!r} is not in the study"
    study = written(folder, WHOLE.replace(old, new, 1))
    with pytest.raises(InputError) as caught:
        read_study(study)
    line = str(caught.value)
    assert "\n" not in line
    assert line.startswith(f"{study}: ")
    assert caught.value.exit_status == 2
    return line.removeprefix(f"{study}: ")


@pytest.fixture
def whole(tmp_path: Path) -> Study:
    return read_study(written(tmp_path, WHOLE))


def test_bodies_in_internal_units(whole: Study, tmp_path: Path) -> None:
    saddle, mast = whole.bodies["saddle"], whole.bodies["mast"]
    assert (saddle.solid, saddle.size, saddle.finest, saddle.unit) == (tmp_path / "saddle.step", 4.0, 1.0, None)
    assert saddle.print is not None
    assert (saddle.print.polymer, saddle.print.state, saddle.print.raster) == (
        "pa12-cf",
        "conditioned",
        (45.0, -45.0),
    )
    assert (saddle.print.bead_width, saddle.print.bead_height) == (0.45, 0.20)
    assert (saddle.print.infill_pattern, saddle.print.infill_density) == ("solid", 1.0)
    assert saddle.print.plan.walls == 4
    assert (mast.print, mast.metal, mast.unit, mast.size) == (None, "6082-t6", "cm", None)


def test_faces_become_queries(whole: Study) -> None:
    seat, land = whole.faces["wing_seat"], whole.faces["land"]
    assert (seat.body, seat.kind, seat.normal, seat.at) == ("saddle", "plane", (0.0, 0.0, -1.0), "min")
    assert land.at == pytest.approx(14.0, rel=1e-12)
    assert (whole.faces["bolt_holes"].kind, whole.faces["bolt_holes"].radius) == ("cylinder", 4.2)
    assert whole.faces["socket"].near == (40.0, 0.0, 12.0)
    assert whole.faces["mast_top"].ids == (7,)
    assert whole.faces["inside"].high == pytest.approx((25.4, 1000.0, 20.0), rel=1e-12)


def test_supports(whole: Study) -> None:
    what = {name: support.what for name, support in whole.supports.items()}
    assert what["mast_top"] == FixedKeys(("x", "y", "z"))
    assert what["slide"] == FixedKeys(("normal",))
    assert what["glue"].normal == 4000.0
    assert what["glue"].tangential == pytest.approx(1.5, rel=1e-12)  # 1 GN/m^3 = 1 N/mm^3
    assert (what["glue"].push_only, what["table"].push_only) == (False, True)
    assert what["stay"].stiffness == (3.0, 0.0, 20.0)
    assert what["rubber"].stiffness == (200.0, 200.0, 200.0)


def test_loads_in_internal_units(whole: Study) -> None:
    what = {name: load.what for name, load in whole.loads.items()}
    assert what["push"] == ForceKeys((1000.0, 0.0, -5.0))
    assert isinstance(what["wind"], PressureKeys)
    assert what["wind"].pressure == pytest.approx(0.2, rel=1e-12)  # 1 bar = 0.1 MPa by definition
    assert what["twist"] == WrenchKeys((0.0, 0.0, 0.0), (0.0, 0.0, 8000.0), (0.0, 0.0, 10.0))
    assert what["bolts"] == PreloadKeys("bolt_holes", "wing_seat", 9000.0, 16.0, None)
    assert what["settle"] == DisplacementKeys(None, None, 0.1)
    assert isinstance(what["gravity"], AccelerationKeys)
    assert what["gravity"].acceleration == pytest.approx((0.0, 0.0, -9806.65), rel=1e-12)
    assert what["sun"] == TemperatureChangeKeys(40.0, ("saddle",))
    wing = what["lift"]
    assert isinstance(wing, WingKeys)
    assert wing.mass == pytest.approx(0.240, rel=1e-12)
    assert (wing.span, wing.left_fraction, wing.up) == (1400.0, 0.5, (0.0, 0.0, 1.0))
    permanent = {name for name, load in whole.loads.items() if load.permanent}
    assert permanent == {"bolts", "push"}


def test_cases_points_and_requirements(whole: Study) -> None:
    assert whole.cases == {"cruise": {"lift": 1.0, "bolts": 1.0}, "landing": {"lift": 4.0, "bolts": 1.0}}
    assert whole.points == {"tip": (140.0, 0.0, 0.0)}
    assert whole.watch == ("wing_seat", "land")  # a face with a requirement is watched too
    asked = whole.requirements
    assert asked.rotation["wing_seat"] == pytest.approx(math.radians(0.4), rel=1e-12)
    assert asked.mass == pytest.approx(220e-6, rel=1e-12)
    assert (asked.reserve, asked.deflection, asked.displacement) == (2.0, 1.5, {"land": 0.2})
    assert whole.solver == "auto"


def test_which_strength_of_an_infill_counts(whole: Study, tmp_path: Path) -> None:
    assert whole.requirements.infill == "first bead"
    study = read_study(written(tmp_path, WHOLE.replace("[requirements]", '[requirements]\ninfill = "collapse"')))
    assert study.requirements.infill == "collapse"
    assert fingerprint(study) != fingerprint(whole), "collapse is calculated only where it is asked for"
    both = '[requirements]\ninfill = "collapse"\nchance = 0.99'
    assert "a chance is judged by the first bead" in complaint(tmp_path, "[requirements]", both)
    assert "requirements.infill" in complaint(tmp_path, "[requirements]", '[requirements]\ninfill = "last bead"')


def test_inputs_can_be_traced(whole: Study) -> None:
    assert whole.inputs["text"] == WHOLE
    assert whole.inputs["sha256"] == hashlib.sha256(WHOLE.encode()).hexdigest()
    assert whole.inputs["solids"]["mast"] == {
        "file": "mast.stl",
        "sha256": hashlib.sha256(b"mast.stl").hexdigest(),
    }


def test_what_is_left_out_is_assumed(tmp_path: Path) -> None:
    text = """
    title = "Bracket"
    question = "Does it hold?"
    bodies.a = { solid = "saddle.step", print = { polymer = "cards/own.toml" } }
    faces.top = { plane = { normal = [0, 0, 1] } }
    loads.pull = { face = "top", force = ["0 N", "0 N", "1 N"] }
    loads.own = { acceleration = ["0 m/s^2", "0 m/s^2", "1 m/s^2"] }
    """
    study = read_study(written(tmp_path, text))
    assert study.cases == {"all": {"pull": 1.0, "own": 1.0}}
    plan = study.bodies["a"].print
    assert plan is not None
    assert plan.polymer == str(tmp_path.resolve() / "cards/own.toml")
    assert plan.infill_pattern == "solid"
    # what the study does not say is not told as its word
    assert {"build direction", "walls", "raster", "bead width", "bead height", "infill"} <= set(plan.assumed)
    given = text.replace('"cards/own.toml"', '"pla", walls = 3, bead = { width = "0.45 mm" }, raster = [45.0, -45.0]')
    said = read_study(written(tmp_path, given)).bodies["a"].print
    assert said is not None and "bead height" in said.assumed
    assert not {"walls", "raster", "bead width"} & set(said.assumed)
    assert (study.faces["top"].body, study.faces["top"].at) == (None, None)


SLIPS = {
    "unknown key": ("walls = 4", "wals = 4", "bodies.saddle.print.wals: unknown key. Nearest: walls"),
    "unknown key at the top": ("title =", "titel =", "titel: unknown key. Nearest: title"),
    "unknown key in a load": (
        "weight_fraction = 0.7",
        "weight_fract = 0.7",
        "loads.lift.wing.weight_fract: unknown key. Nearest: weight_f",
    ),
    "an old key": (
        "foundation = { n",
        "bed = { n",
        'supports.glue.bed: this key is called "foundation" now. Rename it.',
    ),
    "an old key within": (', washer = "', ', ring = "', 'loads.bolts.preload.ring: this key is called "washer" now.'),
    "an old name elsewhere is only unknown": (
        "[watch]\nfaces",
        "[watch]\nhold",
        "watch.hold: unknown key. Known: faces.",
    ),
    "unknown key in a case's table": ("[watch]\nfaces", "[watch]\nface", "watch.face: unknown key. Nearest: faces"),
    "missing key": ('title = "Wing saddle"', "", "title: this key is missing. Add it."),
    "missing key in a load": (', washer = "16 mm"', "", "loads.bolts.preload.washer: this key is missing."),
    "no unit": ('"4 mm"', "4", "bodies.saddle.mesh.size: 4 has no unit."),
    "no unit in text": ('"9 kN"', '"9"', "loads.bolts.preload.force: '9' has no unit of a force."),
    "wrong unit": ('"1.4 m"', '"1.4 kg"', "loads.lift.wing.span: '1.4 kg' is not a length: kg does not convert"),
    "wrong unit in a list": ('"-5 N"]', '"-5 mm"]', "loads.push.force[3]: '-5 mm' is not a force"),
    "negative extent": ('"4 mm"', '"-4 mm"', 'bodies.saddle.mesh.size: "-4 mm" must be more than zero.'),
    "finest above size": ('"1 mm" }', '"9 mm" }', "bodies.saddle.mesh: finest (9 mm) is larger than size (4 mm)."),
    "text for a number": (
        "weight_fraction = 0.7",
        'weight_fraction = "0.7"',
        'weight_fraction: must be a number without a unit, not "0.7".',
    ),
    "number for text": ('"Wing saddle"', "7", "title: must be text in quotes, not 7."),
    "not whole": ("covers = 5", "covers = 4.5", "bodies.saddle.print.covers: must be a whole number, not 4.5."),
    "true for a number": (
        "lift = 4,",
        "lift = true,",
        "cases.landing.lift: must be a number without a unit, not true.",
    ),
    "not finite": ("lift = 4,", "lift = inf,", "cases.landing.lift: must be a finite number"),
    "not a table": ('{ z = "0.1 mm" }', '"0.1 mm"', "loads.settle.displacement: must be a table, not"),
    "not a list": ('["1 kN", "0 N", "-5 N"]', '"5 N"', "loads.push.force: must be a list in square brackets"),
    "two entries": ('["140 mm", "0 mm", "0 mm"]', '["1 mm", "2 mm"]', "points.tip: needs three entries, not 2."),
    "share above one": (
        "weight_fraction = 0.7",
        "weight_fraction = 1.7",
        "loads.lift.wing.weight_fraction: must be at most 1, not 1.7.",
    ),
    "endless direction": (
        "[0, 0, -1]",
        "[0, 0, -1e200]",
        "normal: the direction [0, 0, -1e+200] is far too long",
    ),
    "tiny direction": ("[0, 0, -1]", "[0, 0, 1e-200]", "plane.normal: the direction [0, 0, 1e-200] is far too"),
    "number without end": ("[0, 0, -1]", f"[0, 0, 1{'0' * 400}]", "plane.normal: the direction"),
    "thousands of digits": ("[0, 0, -1]", f"[0, 0, 1{'0' * 5000}]", "limit (4300 digits)"),
    "two readings": ('"1.4 m"', '"1,400 m"', "wing.span: '1,400 m' can be read in two ways: 1.4 m or 1400 m."),
    "an extent of nothing": ('"4 mm"', '"1e-200 mm"', "mesh.size: '1e-200 mm' is too small"),
    "no direction": ("[0, 0, -1]", "[0, 0, 0]", "faces.wing_seat.plane.normal: a direction of zero length."),
    "no build direction": (
        "build_direction = [0, 0, 1]",
        "build_direction = [0, 0, 0]",
        "bodies.saddle.print.build_direction: a direction of zero length.",
    ),
    "raster along the build": (
        "walls = 4",
        "raster_zero = [0, 0, 2]",
        "bodies.saddle.print: raster_zero [0, 0, 2] is parallel to the build direction.",
    ),
    "no raster": ("raster = [45, -45]", "raster = []", "bodies.saddle.print.raster: must not be empty."),
    "infill that nobody knows": (
        '"solid"',
        '{ pattern = "gyrod", density = 0.4 }',
        'bodies.saddle.print.infill: no infill pattern is called "gyrod".',
    ),
    "place in words": ('at = "min"', 'at = "lowest"', 'faces.wing_seat.plane.at: \'lowest\' .* Write "min", "max"'),
    "nothing asked": (", id = 7", "", "faces.mast_top: nothing is asked of the face."),
    "two shapes": (", id = 7", ", sphere = {}, cone = {}", "faces.mast_top: both cone and sphere are asked for."),
    "box turned round": ('"1 in"', '"-1 in"', "faces.inside.within: low is not below high in every direction."),
    "whose face": (
        'body = "mast", id',
        "id",
        'faces.mast_top: with several bodies .* Add body = "saddle" (or mast).',
    ),
    "face of no body": ('"mast", id', '"must", id', 'faces.mast_top.body: there is no body "must". Nearest: mast'),
    "load on no face": (
        'face = "wing_seat"',
        'face = "wingseat"',
        'loads.lift.face: there is no face "wingseat". Nearest',
    ),
    "support of no face": ('face = "mast_top"', 'face = "mast"', 'supports.mast_top.face: there is no face "mast"'),
    "preload on no face": (
        '"bolt_holes", a',
        '"bolts", a',
        "loads.bolts.preload.holes: there is no face .* bolt_holes.",
    ),
    "case of no load": (
        "landing = { lift",
        "landing = { lit",
        'cases.landing.lit: there is no load "lit". Nearest: lift',
    ),
    "watch no face": ('faces = ["wing_seat"]', 'faces = ["seat"]', 'watch.faces[1]: there is no face "seat".'),
    "requirement on no face": (
        "rotation = { wing_seat",
        "rotation = { wingseat",
        "requirements.rotation.wingseat: there is no face",
    ),
    "temperature_change of no body": (
        '["saddle"]',
        '["sadle"]',
        'loads.sun.temperature_change.bodies[1]: there is no body "sadle".',
    ),
    "fixed in words": ('fixed = "normal"', 'fixed = "all"', 'supports.slide.fixed: must be "normal" or a list of'),
    "fixed and foundation": (
        'fixed = "normal"',
        'fixed = "normal"\nfoundation = { normal = "1 N/mm^3" }',
        "supports.slide: both fixed and foundation are given. "
        "Give exactly one of fixed, foundation, spring, bearing.",
    ),
    "neither fixed nor foundation": (
        'fixed = "normal"',
        "",
        "supports.slide: it says no way of holding the face. Give exactly one of fixed, foundation, spring, bearing.",
    ),
    "a spring of zero": ('"200 N/mm"', '"0 N/mm"', 'supports.rubber.spring: "0 N/mm" must be more than zero.'),
    "a spring without an axis": (
        '{ z = "20 N/mm", x = "3 kN/m" }',
        "{}",
        "supports.stay.spring: no direction is given.",
    ),
    "a foundation that pushes with nothing": (
        'normal = "40 N/mm^3", push_only',
        'normal = "0 N/mm^3", tangential = "1 N/mm^3", push_only',
        "supports.table.foundation: a foundation that only pushes needs a normal stiffness.",
    ),
    "two loads in one": (
        'pressure = "2 bar"',
        'pressure = "2 bar"\ndisplacement = {x = "1 mm"}',
        "loads.wind: both pressure and",
    ),
    "no load in one": ('pressure = "2 bar"', "", "loads.wind: it says no load. Give exactly one of force, pressure"),
    "load without face": (
        'face = "socket"\ndisplacement',
        "displacement",
        "loads.settle: displacement needs a face to act on.",
    ),
    "face too many": (
        "temperature_change =",
        'face = "land"\ntemperature_change =',
        "loads.sun: temperature_change does not take the key face.",
    ),
    "temperature on a scale": (
        '"40 K"',
        '"40 degC"',
        "loads.sun.temperature_change.by: '40 degC' is a temperature on a scale",
    ),
    "no material": ('metal = "6082-t6"', "", "bodies.mast: none of print, metal and laminate is given."),
    "two materials": (
        "[bodies.saddle.print]",
        'metal = "steel"\n[bodies.saddle.print]',
        "both print and metal are given",
    ),
    "state beside print": (
        "[bodies.saddle.print]",
        'state = "dry"\n[bodies.saddle.print]',
        "state stands beside print.",
    ),
    "not a unit": ('unit = "cm"', 'unit = "kg"', 'bodies.mast.unit: "kg" is not a unit of length.'),
    "no solid": ('"mast.stl"', '"mst.stl"', "bodies.mast.solid: there is no file .* mst.stl. Nearest: mast.stl"),
    "no such bolt": (
        "[watch]",
        '[bolts.a]\nsize = "M99"\ngrade = "8.8"\nhead = "wing_seat"\nlength = "20 mm"\npreload = "1 kN"\n[watch]',
        "bolts.a.size: there is no bolt of size 'M99'",
    ),
    "empty sweep": ("[watch]", '[sweep]\n"solver" = []\n[watch]', "sweep.solver: must not be empty."),
    "variant no table": ("[watch]", "[variants]\na = 3\n[watch]", "variants.a: must be a table, not 3."),
    "other solver": (
        "[bodies.saddle]",
        'solver = "fast"\n[bodies.saddle]',
        "solver: \"fast\" is not accepted. Write 'auto', 'multigrid', 'direct' or 'distributed'.",
    ),
    "two bodies of one name": (
        "[bodies.mast]",
        "[bodies.saddle]",
        "line 18, column 15: [bodies.saddle] stands here a second",
    ),
    "one key twice": ("walls = 4", "walls = 4\nwalls = 5", "line 14, column 10: a key stands here a second time."),
    "not TOML": ("walls = 4", "walls 4", "line 13, column 7: expected '=' after a key"),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_gets_one_line(slip: str, tmp_path: Path) -> None:
    old, new, words = SLIPS[slip]
    line = complaint(tmp_path, old, new)
    place = 0
    for part in words.split(" .* "):  # the words stand in this order; between them anything
        assert part in line[place:], line
        place = line.index(part, place) + len(part)


def lines(folder: Path, *changes: tuple[str, str]) -> list[str]:
    """All that a study is told that is changed at several places: the head, then a line each."""
    text = WHOLE
    for was, now in changes:
        assert was in text, was
        text = text.replace(was, now, 1)
    study = written(folder, text)
    with pytest.raises(InputError) as caught:
        read_study(study)
    head, *rest = str(caught.value).split("\n")
    return [head.removeprefix(f"{study}: "), *(line.strip() for line in rest)]


def test_all_that_is_wrong_is_told_at_once_and_misspelt_keys_first(tmp_path: Path) -> None:
    head, *told = lines(
        tmp_path,
        ('"4 mm"', "4"),
        ("weight_fraction = 0.7", 'weight_fraction = "0.7"'),
        ('pressure = "2 bar"', 'presure = "2 bar"'),
        (', washer = "16 mm"', ', ring = "16 mm"'),
        ('metal = "6082-t6"', "metl = 3"),
        ('faces = ["wing_seat"]', 'faces = ["seat"]'),
        ("landing = { lift", "landing = { lit"),
        ('face = "mast_top"', 'face = "mast"'),
    )
    assert head == "8 things are wrong."
    assert [line.split(": ")[0] for line in told] == [
        "bodies.mast.metl",
        "loads.bolts.preload.ring",
        "loads.wind.presure",
        "bodies.saddle.mesh.size",
        "loads.lift.wing.weight_fraction",
        "supports.mast_top.face",
        "cases.landing.lit",
        "watch.faces[1]",
    ]
    # What was meant by a misspelt key is not missing too, and a load without a kind is not told beside it
    assert told[0].startswith("bodies.mast.metl: unknown key. Nearest: metal")
    assert told[5] == 'supports.mast_top.face: there is no face "mast"; that is a body. Nearest: mast_top.'


def test_each_form_of_a_pressure_is_told_alone(tmp_path: Path) -> None:
    depth = 'pressure = { at_zero = ["0 mm", "0 mm"], gradient = "1 kPa", direction = [0, 0, 0], up = 1 }'
    head, *told = lines(tmp_path, ('pressure = "2 bar"', depth))
    assert head == "4 things are wrong."
    assert [line.split(": ")[0].removeprefix("loads.wind.pressure.") for line in told] == [
        "up",
        "at_zero",
        "gradient",
        "direction",
    ]


def test_bodies_are_told_at_once_too(tmp_path: Path) -> None:
    head, *told = lines(tmp_path, ('"saddle.step"', '"sadle.step"'), ('"mast.stl"', '"mst.stl"'))
    assert head == "2 things are wrong."
    assert [line.split(": ")[0] for line in told] == ["bodies.saddle.solid", "bodies.mast.solid"]


def test_a_misspelt_table_does_not_make_all_its_names_wrong(tmp_path: Path) -> None:
    assert complaint(tmp_path, WHOLE, WHOLE.replace("[loads.", "[lods.")).startswith("lods: unknown key.")
    head, *told = lines(tmp_path, ("[faces]", "[face]"), ("landing = { lift", "landing = { lit"))
    assert head == "2 things are wrong."
    assert [line.split(": ")[0] for line in told] == ["face", "cases.landing.lit"]


def test_what_is_too_much_is_counted(tmp_path: Path) -> None:
    many = "".join(f"k{i} = 1\n" for i in range(5000))
    head, *told = lines(tmp_path, ("[bodies.saddle]", f"{many}[bodies.saddle]"))
    assert head == "5000 things are wrong."
    assert len(told) == 31 and told[-1] == "And 4970 more."


LIMITS = "Limits go by face (those of `load` by load) and hold in every case."


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (
            'rotation = { wing_seat = "0.4 deg" }',
            'rotation = { landing = "0.4 deg" }',
            f'requirements.rotation.landing: there is no face "landing"; that is a case. {LIMITS} Nearest: land.',
        ),
        (
            'rotation = { wing_seat = "0.4 deg" }',
            'rotation.landing = { wing_seat = "0.4 deg" }',
            f'requirements.rotation.landing: there is no face "landing"; that is a case. {LIMITS} Nearest: land.',
        ),
        (
            'deflection = "1.5 mm"',
            '[requirements.landing]\nreserve = 1.5\nrotation = { wing_seat = "1 deg" }',
            f'requirements.landing: "landing" is a case, not a requirement. {LIMITS} '
            'Write rotation = { FACE = "0.4 deg" }.',
        ),
        (
            'deflection = "1.5 mm"',
            'wing_seat = "0.4 deg"',
            f'requirements.wing_seat: "wing_seat" is a face, not a requirement. {LIMITS} '
            'Write rotation = { FACE = "0.4 deg" }.',
        ),
        (
            "cruise = { lift = 1.0",
            "wing_seat = { lift = 1.0",
            'requirements.rotation.wing_seat: both a face and a case are called "wing_seat". '
            f"{LIMITS} Rename one of them.",
        ),
        (
            "landing = { lift",
            "landing = { wing_seat",
            'cases.landing.wing_seat: there is no load "wing_seat"; that is a face. A case holds factors on loads; '
            "limits stand under [requirements], by face. Nearest: twist.",
        ),
        (
            "landing = { lift",
            "landing = { cruise",
            'cases.landing.cruise: there is no load "cruise"; that is a case. A case holds',
        ),
        (
            "bolts = 1.0 }\n\n[points]",
            'bolts = 1.0, rotation = "0.4 deg" }\n\n[points]',
            'cases.landing.rotation: there is no load "rotation"; that is a requirement. A case holds',
        ),
    ],
)
def test_limits_and_cases_cannot_be_mistaken(tmp_path: Path, old: str, new: str, told: str) -> None:
    assert complaint(tmp_path, old, new).startswith(told)


def test_files_that_are_no_study(tmp_path: Path) -> None:
    study = written(tmp_path, WHOLE)
    cases = [
        (tmp_path / "studdy.toml", None, "there is no such file. Nearest: study.toml."),
        (tmp_path, None, "this is a folder, not a study file."),
        (study, b"", "the file is empty."),
        (study, b"  \n", "the file is empty."),
        (study, b"\xff\xfe\x00", "this is not a text file."),
        (study, b"[" * 50_000, "study.toml"),
        (study, b"title = 'a\x00b'", "line 1, column 11"),
    ]
    for path, content, words in cases:
        if content is not None:
            path.write_bytes(content)
        with pytest.raises(InputError) as caught:
            read_study(path)
        assert words in str(caught.value)
        assert "\n" not in str(caught.value)


@pytest.mark.parametrize("name", ["wing_saddle", "wing_joint", "cantilever_bracket"])
def test_shipped_studies_read(name: str) -> None:
    study = read_study(STUDIES / f"{name}.toml")
    assert study.text.startswith("# ")
    assert study.question in study.text.splitlines()[0]
    assert study.watch
