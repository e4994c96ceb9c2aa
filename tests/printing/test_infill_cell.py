"""The infill cell as its users meet it: inputs, critical points, strength, buckling, drawing and the files kept on
disk.
"""

from __future__ import annotations

import io
import math
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest

from fem.criteria.reserve import utilisation
from fem.criteria.strength import Strength
from fem.errors import InputError
from fem.printing.bead_box import bead_box
from fem.printing.infill import PATTERNS, buckling_use, infill_cell, makeable_density, solid_at, store
from fem.printing.infill.bead_mean import places
from fem.printing.infill.buckling import cell_walls, plate_stiffness, square_stresses, strip_stresses, wall_axes
from fem.printing.infill.cell import RESOLUTIONS, _packed, _unpacked, cell_mesh
from fem.printing.infill.cell_strength import worst
from fem.printing.infill.homogenise import bead_material, homogenise
from fem.printing.infill.patterns import period_box

BEAD = {"E": (5500.0, 2000.0, 1800.0), "nu": (0.38, 0.40, 0.45), "G": (800.0, 700.0, 600.0)}
STRENGTH = Strength(
    tension=np.array([60.0, 32.0, 19.0]), compression=np.array([75.0, 50.0, 38.0]), shear=np.array([12.0, 15.0, 22.0])
)
WARM = (2.2e-5, 14e-5, 24.8e-5)
SIZE = {"bead_width": 0.45, "bead_height": 0.20}
DENSITY = 0.4


def cell_of(pattern, *, density=DENSITY, cache=None, **changed):
    given = {"strength": STRENGTH, "expansion": WARM, **BEAD, **SIZE, **changed}
    return infill_cell(pattern, density=density, cache=cache, **given)


class Cells(dict):
    """The cell of each pattern, solved when first asked for."""

    def __missing__(self, pattern):
        self[pattern] = cell_of(pattern)
        return self[pattern]


@pytest.fixture(scope="module")
def cells():
    return Cells()


def all_places(pattern):
    mesh = cell_mesh(pattern, density=DENSITY, **SIZE)
    material = bead_material(mesh, **BEAD, expansion=WARM)
    solved = homogenise(mesh, material=material)
    return places(mesh, material=material, solved=solved, box=bead_box(**SIZE))


def kept_use(cell, states):
    stress = np.array([p.to_bead for p in cell.points]) @ states.T
    return utilisation(np.moveaxis(stress, 1, 2), STRENGTH).max(axis=0)


# ---- what the cell holds


@pytest.mark.parametrize("pattern", PATTERNS)
def test_the_next_coarser_mesh_says_the_same(cells, pattern):
    assert 0 < cells[pattern].moves < 0.02
    # stress averaged over beads does not depend on how fine the notches between them are meshed
    assert 0 < cells[pattern].strength_moves < 0.06


@pytest.mark.parametrize("pattern", PATTERNS)
def test_the_cell_is_drawn_whole(cells, pattern):
    cell = cells[pattern]
    assert cell.density == pytest.approx(DENSITY, rel=1e-9)
    a = np.float64(cell.corners)
    sides = np.stack([a[:, 1] - a[:, 0], a[:, 2] - a[:, 0], a[:, 4] - a[:, 0]], axis=1)
    height = a[:, 4:, 2].max() if pattern in ("grid", "triangle", "honeycomb") else cell.size[2]
    # hexahedra of the gyroid are not quite boxes
    assert np.linalg.det(sides).sum() == pytest.approx(DENSITY * cell.size[0] * cell.size[1] * height, rel=0.05)
    assert cell.used.shape == (6, len(a)) and (cell.used >= 0).all()
    if pattern == "gyroid":
        least = 1 / cell.used.max(axis=1)
        bears = cell.strength_MPa
        # the worst hexahedron of the picture is the place that decides
        assert least[:3] == pytest.approx(np.minimum(bears["tension"], bears["compression"]), rel=1e-5)
        assert least[3:] == pytest.approx(bears["shear"], rel=1e-5)


# the gyroid's worst place wanders over the sheet with the direction of the stress: so few points come less near
NEAR = {"grid": (0.98, 0.995), "honeycomb": (0.98, 0.995), "cubic": (0.95, 0.995), "gyroid": (0.9, 0.98)}


@pytest.mark.parametrize("pattern", NEAR)
def test_the_few_points_stand_for_all_places(cells, pattern):
    cell = cells[pattern]
    assert 1 <= len(cell.points) <= 120
    bears = cell.strength_MPa
    scale = np.concatenate([np.minimum(bears["tension"], bears["compression"]), bears["shear"]])
    states = np.random.default_rng(99).standard_normal((250, 6)) * scale
    most, _ = worst(all_places(pattern), states=states, strength=STRENGTH)
    kept = kept_use(cell, states)
    assert (kept <= most * (1 + 1e-9)).all()
    least, mean = NEAR[pattern]
    assert (kept / most).min() >= least
    assert (kept / most).mean() >= mean
    assert 0 <= cell.points_short < 1.5 * (1 - least)


@pytest.mark.parametrize("pattern", PATTERNS)
def test_the_points_give_the_unit_strengths(cells, pattern):
    cell, one = cells[pattern], np.eye(6)
    bears = cell.strength_MPa
    near = max(0.011, cell.points_short)
    assert 1 / kept_use(cell, one[:3]) == pytest.approx(bears["tension"], rel=near)
    assert 1 / kept_use(cell, -one[:3]) == pytest.approx(bears["compression"], rel=near)
    worse = np.maximum(kept_use(cell, one[3:]), kept_use(cell, -one[3:]))
    assert 1 / worse == pytest.approx(bears["shear"], rel=near)


@pytest.mark.parametrize("pattern", PATTERNS)
def test_no_cell_bears_more_than_its_solid_part(cells, pattern):
    bears = cells[pattern].strength_MPa
    # the mean over a section is at most the solid share of it times what a bead bears in its best direction
    assert bears["tension"][2] <= DENSITY * 19.0 * 1.02
    assert (bears["tension"][:2] <= DENSITY * 60.0).all()
    assert (bears["shear"] < DENSITY * 22.0).all()


def test_a_prismatic_cell_fails_between_its_layers(cells):
    # pulled up the build, its walls bear mean stress / density everywhere, but for what the joints' layers add
    for pattern in ("grid", "triangle", "honeycomb"):
        assert cells[pattern].strength_MPa["tension"][2] == pytest.approx(DENSITY * 19.0, rel=0.07)


def test_walls_of_a_grid_bear_what_is_pulled(cells):
    # mean stress / s along each wall, no more than beads bear; s from 2 s - s^2 = density
    s = 1 - math.sqrt(1 - DENSITY)
    wall = next(w for w in cells["grid"].walls if w.label == "wall at 0 deg")
    assert wall.to_wall[0, 0] == pytest.approx(1 / s, rel=1e-6)
    # where they cross, beads that take turns share unevenly: the ones along the pull bear E1 / mean (E1, E2) of it
    uneven = 5500.0 / ((5500.0 + 2000.0) / 2)
    assert 60.0 * s / uneven < cells["grid"].strength_MPa["tension"][0] < 60.0 * s


def test_warming_stress(cells):
    # joints of crossed layers hold one another; without an expansion on the card there is nothing to say
    assert max(np.abs(p.thermal_stress).max() for p in cells["grid"].points) > 0.01
    assert cells["grid"].expansion is not None
    bare = cell_of("grid", expansion=None)
    assert bare.expansion is None
    assert not any(p.thermal_stress.any() for p in bare.points)
    assert np.allclose(bare.stiffness, cells["grid"].stiffness, rtol=1e-12)


def test_turned_beads_change_the_cell(cells):
    # negative control: beads as strong and stiff across as along
    swapped = cell_of(
        "honeycomb", E=(2000.0, 5500.0, 1800.0), nu=(0.38 * 2000 / 5500, 0.45, 0.40), G=(800.0, 600.0, 700.0)
    )
    assert swapped.stiffness[0, 0] < 0.8 * cells["honeycomb"].stiffness[0, 0]


def test_an_isotropic_body_is_judged_by_yield():
    g = 2000 / 2.7
    cell = cell_of(
        "grid", E=(2000.0,) * 3, nu=(0.35,) * 3, G=(g,) * 3, strength=Strength(yield_stress=40.0), expansion=None
    )
    bears = cell.strength_MPa
    assert bears["tension"][2] == pytest.approx(DENSITY * 40.0, rel=1e-6)
    assert np.allclose(bears["tension"], bears["compression"], rtol=1e-9)


# ---- where it is solid


@pytest.mark.parametrize("pattern", PATTERNS)
def test_the_lattice_fills_its_density(pattern):
    low, high = makeable_density(pattern, **SIZE)
    for density in (0.15, 0.5, 0.8):
        assert low < density < high
        box = period_box(pattern, density=density, **SIZE)
        if pattern == "cubic":
            box = box * 6  # the cube stands on its corner: many periods instead of one
        points = np.random.default_rng(3).uniform(0, 1, (200_000, 3)) * box
        assert solid_at(pattern, points, density=density, **SIZE).mean() == pytest.approx(density, abs=0.006)


@pytest.mark.parametrize("pattern", PATTERNS)
def test_the_mesh_lies_where_the_lattice_is_solid(pattern):
    mesh = cell_mesh(pattern, density=DENSITY, fine=False, **SIZE)
    assert solid_at(pattern, mesh.centres, density=DENSITY, **SIZE).all()
    faces = mesh.corners.reshape(-1, 3)
    assert not solid_at(pattern, faces + np.array([0.31, 0.17, 0.23]), density=DENSITY, **SIZE).all()


# ---- buckling


def test_isotropic_plates_buckle_as_published():
    # Timoshenko and Gere, sections 9.2 and 9.7: k = 4, 5.34 for long plates; 1 for a wide column
    d = plate_stiffness(np.eye(3)[[0, 1, 2]], thickness=0.5, E=(2000.0,) * 3, nu=(0.35,) * 3, G=(2000 / 2.7,) * 3)
    rigid = 2000 * 0.5**3 / 12 / (1 - 0.35**2)
    assert d == pytest.approx((rigid, rigid, 0.35 * rigid, 0.65 / 2 * rigid), rel=1e-9)
    unit = math.pi**2 * rigid / (4.0**2 * 0.5)
    along, up, shear = strip_stresses(d, width=4.0, thickness=0.5)
    assert along == pytest.approx(unit)
    assert up == pytest.approx(4 * unit)
    assert shear == pytest.approx(5.34 * unit, rel=2e-3)
    pressed, _, sheared = square_stresses(d, width=4.0, thickness=0.5)
    # half all-round pressure (k = 2 on each side, all-round) with half shear (k = 9.34): between 3.5 and 4
    assert 3.5 * unit < pressed < 4 * unit
    assert sheared == pytest.approx(25 / 3 * unit)


def test_a_leaning_wall_is_softer_up_its_slope():
    leaning = wall_axes((0.0, -math.sqrt(2 / 3), 1 / math.sqrt(3)))
    assert leaning[0] == pytest.approx([-1, 0, 0]) or leaning[0] == pytest.approx([1, 0, 0])
    upright = plate_stiffness(wall_axes((0.0, 1.0, 0.0)), thickness=1.0, **BEAD)
    assert 12 * upright[0] == pytest.approx(5500 / (1 - 0.40**2 * 1800 / 5500), rel=1e-9)
    other = plate_stiffness(leaning, thickness=1.0, **BEAD)
    assert other[0] == pytest.approx(upright[0], rel=0.05) and other[1] != pytest.approx(upright[1], rel=1e-3)


def test_thin_walls_buckle_first_and_thick_ones_never(cells):
    thin, thick = cell_of("grid", density=0.08), cells["grid"]
    assert "compression 1" in thin.strength_MPa["buckling"]
    found = thin.strength_MPa["buckling"]["compression 1"]
    assert "plate buckling" in found["mode"] and found["MPa"] < thin.strength_MPa["compression"][0]
    assert thick.strength_MPa["buckling"] == {}
    state = np.array([-1.0, 0, 0, 0, 0, 0])
    assert 1 / max(buckling_use(w, state) for w in thin.walls) == pytest.approx(found["MPa"], rel=1e-9)
    # pulled, a wall does not buckle in the direction of the pull
    worst_wall = max(thin.walls, key=lambda w: float(buckling_use(w, state)))
    assert buckling_use(worst_wall, -state) < 0.1 * buckling_use(worst_wall, state)


def test_beads_between_crossings_are_columns():
    # Euler: pi^2 E h^2 / (12 b^2), the free span b = spacing - width
    mesh = cell_mesh("woodpile", density=0.1, fine=False, **SIZE)
    material = bead_material(mesh, **BEAD)
    cell = homogenise(mesh, material=material)
    walls = cell_walls("woodpile", mesh=mesh, material=material, solved=cell, bead=BEAD, density=0.1, **SIZE)
    free = 4.5 - 0.45
    assert [w.label for w in walls] == ["layer at 0 deg", "layer at 90 deg"]
    assert walls[0].along == pytest.approx(math.pi**2 * 5500 * 0.2**2 / 12 / free**2, rel=1e-12)
    assert "column" in walls[0].mode
    # half of the layers bear, each with width / spacing of its section
    assert walls[0].to_wall[0, 0] == pytest.approx(2 / 0.1, rel=1e-6)
    assert buckling_use(walls[0], [-1.0, 0, 0, 0, 0, 0]) == pytest.approx(20 / walls[0].along, rel=0.02)


# ---- bad input


WRONG = [
    ({"pattern": "gyroyd"}, ["gyroyd", "gyroid", "woodpile", "honeycomb"]),
    ({"pattern": "stars"}, ["stars", "woodpile, grid, triangle, honeycomb, cubic, gyroid"]),
    ({"density": 0.0}, ["density 0", "above 0"]),
    ({"density": 1.2}, ["density 1.2", "at most at 1"]),
    ({"density": float("nan")}, ["density nan"]),
    ({"density": 0.97}, ["0.97", "0.45 mm", "nearest", "0.8888"]),
    ({"density": 0.01}, ["0.01", "nearest", "0.0482"]),
    ({"bead_height": 0.6}, ["0.6 mm", "0.45 mm"]),
    ({"bead_width": -1.0}, ["width -1 mm"]),
    ({"E": (5500.0, 2000.0, -1.0)}, ["E3"]),
]


@pytest.mark.parametrize(("change", "said"), WRONG, ids=lambda v: str(next(iter(v))))
def test_bad_input_says_what_to_do(change, said):
    given = {"pattern": "grid", "density": 0.3, **change}
    with pytest.raises(InputError) as caught:
        cell_of(given.pop("pattern"), **given)
    text = str(caught.value)
    assert "\n" not in text
    for part in said:
        assert part in text


@pytest.mark.parametrize("pattern", PATTERNS)
def test_the_ends_of_the_range_can_be_solved(pattern):
    for density in makeable_density(pattern, **SIZE):
        mesh = cell_mesh(pattern, density=density, fine=False, **SIZE)
        material = bead_material(mesh, **BEAD)
        cell = homogenise(mesh, material=material)
        assert cell.density == pytest.approx(density, rel=1e-9)
        assert np.linalg.eigvalsh(cell.stiffness).min() > 0
        assert np.isfinite(places(mesh, material=material, solved=cell, box=bead_box(**SIZE)).stress).all()


# ---- kept on disk


def same(one, other):
    for name in (f.name for f in fields(one)):
        a, b = getattr(one, name), getattr(other, name)
        if isinstance(a, np.ndarray):
            assert np.array_equal(a, b) and a.dtype == b.dtype, name
        elif name in ("points", "walls"):
            assert len(a) == len(b)
            for p, q in zip(a, b, strict=True):
                same(p, q)
        elif name != "strength_MPa":
            assert a == b, name
    return True


def test_a_cell_is_kept_and_found_again(tmp_path, monkeypatch):
    first = cell_of("grid", cache=tmp_path)
    assert [p.suffix for p in tmp_path.iterdir()] == [".cell"]
    monkeypatch.setattr("fem.printing.infill.cell._solved_cell", None)  # solving again would fail
    again = cell_of("grid", cache=tmp_path)
    assert same(first, again)
    assert np.array_equal(first.strength_MPa["shear"], again.strength_MPa["shear"])
    assert first.strength_MPa["buckling"] == again.strength_MPa["buckling"]
    with pytest.raises(TypeError):  # other beads are another cell
        cell_of("grid", cache=tmp_path, G=(801.0, 700.0, 600.0))


def test_a_broken_file_is_solved_again(tmp_path, monkeypatch):
    first = cell_of("grid", cache=tmp_path)
    file = next(tmp_path.iterdir())
    whole = file.read_bytes()
    solved = []
    monkeypatch.setattr("fem.printing.infill.cell._solved_cell", lambda *_, **__: solved.append(1) or first)
    bits = [(place, 1 << bit) for place in range(0, len(whole), len(whole) // 60) for bit in (0, 6)]
    flipped = [whole[:k] + bytes([whole[k] ^ bit]) + whole[k + 1 :] for k, bit in bits]
    archive = io.BytesIO()
    np.savez_compressed(archive, plain=np.array("{}"))
    for spoilt in (b"", b"no cell", whole[: len(whole) // 2], whole + b" ", archive.getvalue(), *flipped):
        file.write_bytes(spoilt)
        before = len(solved)
        assert same(first, cell_of("grid", cache=tmp_path))
        assert len(solved) == before + 1, "solved again, and not taken from the file"
        assert file.read_bytes() == whole, "and kept again"
    assert same(first, cell_of("grid", cache=tmp_path)) and len(solved) == before + 1


def test_a_file_in_the_place_of_another_is_not_taken(tmp_path):
    one = cell_of("grid", cache=tmp_path)
    file = next(tmp_path.iterdir())
    cell_of("grid", density=0.5, cache=tmp_path)
    other = next(p for p in tmp_path.iterdir() if p != file)
    file.write_bytes(other.read_bytes())
    assert same(one, cell_of("grid", cache=tmp_path))


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("stiffness", lambda a: a[:5]),
        ("stiffness", lambda a: -a),
        ("size", lambda a: a[:2]),
        ("to_bead", lambda a: a[:, :5]),
        ("temperature_change", lambda a: a * np.nan),
        ("strength", lambda a: a[:7]),
        ("corners", lambda a: a[:-1]),
        ("used", lambda a: a.T),
        ("at", lambda a: a[1:]),
        ("limits", lambda a: a[:, :2]),
        ("corners", lambda a: None),
    ],
)
def test_a_file_of_another_shape_is_not_taken(cells, name, change):
    arrays, plain = _packed(cells["grid"])
    assert _unpacked((arrays, plain)) is not None
    changed = change(arrays[name])
    spoilt = {k: v for k, v in arrays.items() if k != name} | ({} if changed is None else {name: changed})
    assert _unpacked((spoilt, plain)) is None


def test_a_folder_that_cannot_be_written_is_no_hindrance(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    solved = cell_of("grid", cache=blocked / "cells")
    assert solved.density == pytest.approx(DENSITY)
    inputs, packed = {"pattern": "grid"}, _packed(solved)
    for nowhere in (None, blocked / "cells", Path("/dev/null/cells"), Path("no\0name")):
        store.save(nowhere, inputs, packed)
        assert store.load(nowhere, inputs) is None
    store.save(tmp_path / "new" / "cells", inputs, packed)
    assert store.load(tmp_path / "new" / "cells", inputs) is not None


def test_the_folder_can_be_named(tmp_path, monkeypatch):
    monkeypatch.setenv("BEADWORK_CACHE", str(tmp_path))
    cell_of("grid", cache="user")
    assert len(list((tmp_path / "cells").glob("*.cell"))) == 1
    monkeypatch.delenv("BEADWORK_CACHE")
    folder = store.default_folder()
    assert folder is not None and folder.parts[-2:] == ("beadwork", "cells")


def test_every_pattern_has_two_meshes():
    assert set(RESOLUTIONS) == set(PATTERNS)
    for pattern in PATTERNS:
        coarse, fine = (cell_mesh(pattern, density=0.3, fine=f, **SIZE) for f in (False, True))
        assert len(fine.corners) > 1.5 * len(coarse.corners)
