"""A folder of tables becomes a card that the program reads, and what cannot be is refused in one line."""

from __future__ import annotations

import numpy as np
import pytest
from helpers_coupons import MACHINE, pulled, written

from fem.coupons.card_file import own_card, write_card
from fem.coupons.reading import read_coupons
from fem.errors import InputError
from fem.printing.polymer import load_card

E, STRENGTH, NU = (5000.0, 2100.0, 1700.0), (54.0, 30.0, 16.0), 0.36
BASE = load_card("pa12-cf")
HEAD = f"""
date = 2026-11-20
from = "pa12-cf"
read = "crosshead"
machine_stiffness = "{MACHINE / 1000:g} kN/mm"
"""


def table(name, direction, *, more="", width='"5 mm"', thickness='"2 mm"', file=None):
    return f"""
[batch.{name}]
file = "{file or name + ".csv"}"
test = "tension"
direction = "{direction}"
gauge_length = "25 mm"
width = {width}
thickness = {thickness}
{more}
"""


def curves(direction, *, n=5, seed=7, scatter=0.03, **changes):
    rng = np.random.default_rng(seed)
    i = ("along", "across", "up").index(direction)
    nu = NU if direction == "along" else None
    times = 1 + scatter * rng.standard_normal((n, 2))
    return [pulled(rng, E=E[i] * e, strength=STRENGTH[i] * s, nu=nu, **changes) for e, s in times]


def folder_of(tmp_path, *tables, head=HEAD):
    (tmp_path / "coupons.toml").write_text(head + "".join(tables), encoding="utf-8")
    return tmp_path


def along(tmp_path, text=None, **how):
    """A folder with one batch along the beads."""
    written(tmp_path, "along.csv", curves("along"), **how)
    return folder_of(tmp_path, text or table("along", "along"))


def made(folder, **how):
    return own_card(read_coupons(folder), name="my-nylon", **how)


def test_three_directions_become_a_card(tmp_path):
    for direction in ("along", "across", "up"):
        written(tmp_path, f"{direction}.csv", curves(direction))
    folder_of(tmp_path, *(table(d, d) for d in ("along", "across", "up")))
    card = made(tmp_path)
    read = write_card(card, tmp_path / "my-nylon.toml")
    state = read.states["dry"]
    assert load_card(tmp_path / "my-nylon.toml").states["dry"] == state
    for i in range(3):
        assert state.E[i] == pytest.approx(E[i], rel=0.04)
        assert state.tension[i] == pytest.approx(STRENGTH[i], rel=0.04)
    assert state.nu[0] == pytest.approx(NU, rel=0.04)
    assert "E" not in state.estimates
    assert "tension" not in state.estimates
    assert {"G", "compression", "shear", "nu"} <= set(state.estimates)
    assert "own coupons in tension, n = 5, 2026-11-20" in state.sources["E"]
    assert "CoV" in state.sources["tension"]
    assert "characteristic" in state.sources["tension"]
    # not measured: the other card's, scaled as the docstring says
    ratio = state.tension[2] / BASE.states["dry"].tension[2]
    assert state.shear[0] == pytest.approx(BASE.states["dry"].shear[0] * ratio, rel=2e-3)
    assert state.compression[2] == pytest.approx(BASE.states["dry"].compression[2] * ratio, rel=2e-3)
    # states that nobody measured keep pace
    wet = BASE.states["conditioned"].E[0] * state.E[0] / BASE.states["dry"].E[0]
    assert read.states["conditioned"].E[0] == pytest.approx(wet, rel=2e-3)
    assert "E" in read.states["conditioned"].estimates
    assert state.factors == BASE.states["dry"].factors


def test_a_card_scaled_by_what_was_measured_stays_a_possible_material(tmp_path):
    """Twice as stiff along, half as stiff up: Poisson's ratios of the other card as they stand would be refused."""
    rng = np.random.default_rng(3)
    written(tmp_path, "along.csv", [pulled(rng, E=11000, strength=90.0) for _ in range(3)])
    written(tmp_path, "up.csv", [pulled(rng, E=760, strength=12.0) for _ in range(3)])
    folder_of(tmp_path, table("along", "along"), table("up", "up"))
    state = write_card(made(tmp_path), tmp_path / "odd.toml").states["dry"]
    assert state.nu[1] * np.sqrt(state.E[2] / state.E[0]) == pytest.approx(0.4 * np.sqrt(1800 / 5500), rel=5e-3)


def test_stronger_beads_make_no_stronger_bonds(tmp_path):
    """Along the beads half as strong again, up the build not tested: what parts layers stays as the other card has
    it, what beads bear grows. Weaker beads weaken both."""
    dry = BASE.states["dry"]
    for times, bond in ((1.5, 1.0), (0.8, 0.8)):
        rng = np.random.default_rng(3)
        written(tmp_path, "along.csv", [pulled(rng, E=5500, strength=60.0 * times) for _ in range(3)])
        state = write_card(made(folder_of(tmp_path, table("along", "along"))), tmp_path / "bond.toml").states["dry"]
        for of, base, scales in (
            (state.tension, dry.tension, (times, times, bond)),
            (state.shear, dry.shear, (bond, bond, times)),  # 23, 13, 12
            (state.compression, dry.compression, (times, times, times)),
        ):
            assert np.array(of) / base == pytest.approx(scales, rel=5e-3)


def test_units_commas_and_order_of_columns_do_not_matter(tmp_path):
    plain = made(along(tmp_path)).states[0].entries
    head = ["Probe", "Kraft (kN)", "Weg [in]", "quer / %"]
    text = table(
        "along", "along", more='columns = { coupon = "probe", force = "kraft", path = "Weg", sideways = "quer" }'
    )
    how = {"head": head, "decimal": ",", "delimiter": ";", "scale": (1e-3, 1 / 25.4)}
    other = made(along(tmp_path, text, **how)).states[0].entries
    for place in (("E", 0), ("nu", 0), ("tension", 0)):
        assert other[place].value == pytest.approx(plain[place].value, rel=1e-3)


def test_pounds_and_a_row_of_units(tmp_path):
    plain = made(along(tmp_path)).states[0].entries
    folder = along(tmp_path, head=["coupon", "force", "path", "sideways"], scale=(1 / 4.4482216, 1.0))
    lines = (folder / "along.csv").read_text().splitlines()
    lines = ["# test 14", "Bench 2", lines[0], ",lbf,mm,%", *lines[1:]]
    (folder / "along.csv").write_text("\n".join(lines))
    assert made(folder).states[0].entries[("E", 0)].value == pytest.approx(plain[("E", 0)].value, rel=1e-3)


def test_a_card_over_ones_own_card(tmp_path):
    """What coupons.toml names lies beside it; the card that is written may lie elsewhere and still finds it."""
    (tmp_path / "kit").mkdir()
    own = 'name = "first"\nfrom = "pa12-cf"\n[dry]\nscatter = 0.07\nsource = "first batch, June"\n'
    (tmp_path / "kit/first.toml").write_text(own)
    written(tmp_path / "kit", "along.csv", curves("along", n=2))
    folder_of(tmp_path / "kit", table("along", "along"), head=HEAD.replace('"pa12-cf"', '"first.toml"'))
    write_card(made(tmp_path / "kit"), tmp_path / "cards/mine.toml")
    read = load_card(tmp_path / "cards/mine.toml")
    assert read.states["dry"].scatter == 0.07  # two coupons have no scatter to tell
    assert 'from = "../kit/first.toml"' in (tmp_path / "cards/mine.toml").read_text()


def test_stress_and_strain_from_a_file_a_coupon(tmp_path):
    plain = made(along(tmp_path)).states[0].entries
    names = []
    for k, curve in enumerate(curves("along"), 1):
        strain = (curve.path - curve.force / MACHINE) / 25.0
        rows = [f"{s / 6.894757:.7f},{1e6 * e:.4f}" for s, e in zip(curve.force / 10, strain, strict=True)]
        (tmp_path / f"pull {k}.csv").write_text("\n".join(["stress [ksi],strain [µm/m]", *rows]))
        names.append(f"pull {k}.csv")
    text = table("along", "along", more='read = "coupon"\ncolumns = { stress = "stress", strain = "strain" }')
    text = text.replace('file = "along.csv"', f"files = {names}").replace("path = ", "")
    card = made(folder_of(tmp_path, text))
    assert [fit.coupon.name for fit in card.fits[0].fits] == [f"pull {k}" for k in range(1, 6)]
    for place in (("E", 0), ("tension", 0)):
        assert card.states[0].entries[place].value == pytest.approx(plain[place].value, rel=2e-3)


def test_names_of_columns_for_all_batches(tmp_path):
    """Strain across that the file names for all may be missing in a batch; a table nobody filled in has any head."""
    names = 'columns = { coupon = "Probe", force = "Kraft", path = "Weg", sideways = "quer" }\n'
    written(tmp_path, "along.csv", curves("along"), head=["Probe", "Kraft [N]", "Weg [mm]", "quer [%]"])
    written(tmp_path, "up.csv", curves("up"), head=["Probe", "Kraft [N]", "Weg [mm]"])
    (tmp_path / "across.csv").write_text("coupon,force [N],path [mm]\n")
    folder_of(tmp_path, *(table(d, d) for d in ("along", "across", "up")), head=HEAD + names)
    card = made(tmp_path)
    assert [fit.batch.name for fit in card.fits] == ["along", "up"]
    assert "nu" in card.fits[0].samples
    assert "left out: across" in card.cautions[0].text
    own = table("up", "up", more='columns = { sideways = "quer" }')
    refused(folder_of(tmp_path, own, head=HEAD + names), "no column 'quer'")


def test_a_state_that_was_measured_alone_scales_the_others(tmp_path):
    written(tmp_path, "along.csv", curves("along"))
    folder_of(tmp_path, table("along", "along", more='state = "conditioned"'))
    read = write_card(made(tmp_path), tmp_path / "wet.toml")
    ratio = read.states["conditioned"].E[0] / BASE.states["conditioned"].E[0]
    assert read.states["conditioned"].E[0] == pytest.approx(E[0], rel=0.04)
    assert read.states["dry"].E[0] == pytest.approx(5500 * ratio, rel=2e-3)


def test_characteristic_strengths_on_request(tmp_path):
    card = made(along(tmp_path), characteristic=True)
    entry = card.states[0].entries[("tension", 0)]
    values = np.array(entry.sample.values)
    by_table = values.mean() - 2.335 * values.std(ddof=1)  # EN 1990, table D1, n = 5
    assert entry.value == pytest.approx(by_table, rel=1e-4) and by_table < 0.98 * values.mean()
    assert card.states[0].entries[("E", 0)].value == card.states[0].entries[("E", 0)].sample.mean


def test_a_batch_far_from_23_degrees_is_not_on_the_card(tmp_path):
    written(tmp_path, "along.csv", curves("along"))
    written(tmp_path, "hot.csv", curves("along", seed=8))
    folder_of(tmp_path, table("along", "along"), table("hot", "along", more='temperature = "60 degC"'))
    card = made(tmp_path)
    assert card.states[0].entries[("E", 0)].sample.n == 5
    assert any("60 °C" in c.text for c in card.cautions)


def refused(folder, *texts, **how):
    with pytest.raises(InputError) as told:
        made(folder, **how)
    assert "\n" not in str(told.value)
    for text in texts:
        assert text in str(told.value)


def test_newtons_under_a_head_of_kilonewtons(tmp_path):
    refused(along(tmp_path, head=["coupon", "force [kN]", "path [mm]", "sideways [%]"]), "head that says kN")


def test_kilonewtons_under_a_head_of_newtons(tmp_path):
    refused(along(tmp_path, scale=(1e-3, 1.0)), "head that says N")


def test_columns_that_are_swapped(tmp_path):
    text = table("along", "along", more='columns = { force = "path", path = "force" }\nunits = {}')
    head = ["coupon", "force", "path", "sideways [%]"]
    text = text.replace("units = {}", 'units = { force = "N", path = "mm" }')
    refused(along(tmp_path, text, head=head), "look swapped")


def test_a_section_that_is_wrong(tmp_path):
    refused(along(tmp_path, table("along", "along", width='"50 mm"')), "Check width and thickness")


def test_a_gauge_length_that_is_wrong(tmp_path):
    refused(along(tmp_path, scale=(1.0, 0.02)), "unit of the path")


def test_loads_below_zero(tmp_path):
    folder = along(tmp_path)
    lines = (folder / "along.csv").read_text().splitlines()
    lines[20] = "c1,-90.0,0.03,0.0"
    (folder / "along.csv").write_text("\n".join(lines))
    refused(folder, "c1", "the load goes down to -90 N")


def test_a_load_that_goes_back(tmp_path):
    folder = along(tmp_path)
    lines = (folder / "along.csv").read_text().splitlines()
    lines[250] = "c1," + "20.0," + lines[250].split(",", 2)[2]
    (folder / "along.csv").write_text("\n".join(lines))
    refused(folder, "c1", "the load goes back")


def test_too_few_points(tmp_path):
    folder = along(tmp_path)
    lines = (folder / "along.csv").read_text().splitlines()
    (folder / "along.csv").write_text("\n".join([lines[0], *lines[11::40]]))
    with pytest.raises(InputError, match=r"only . points of different strain lie between"):
        made(folder)


def test_coupons_that_do_not_belong_together(tmp_path):
    rng = np.random.default_rng(2)
    stiff = [
        pulled(rng, E=5000, strength=54.0),
        pulled(rng, E=1500, strength=20.0),
        pulled(rng, E=5100, strength=55.0),
    ]
    written(tmp_path, "along.csv", stiff)
    refused(folder_of(tmp_path, table("along", "along")), "varies by", "c2 has")


def test_coupons_that_differ_are_told(tmp_path):
    rng = np.random.default_rng(2)
    uneven = [pulled(rng, E=v, strength=v / 95) for v in (5000, 4000, 6200)]
    written(tmp_path, "along.csv", uneven)
    card = made(folder_of(tmp_path, table("along", "along")))
    assert any("varies by 22 % from coupon to coupon" in c.text for c in card.cautions)
    assert not any("varies" in c.text for c in made(along(tmp_path)).cautions)


@pytest.mark.parametrize(
    ("more", "texts"),
    [
        ('file = "absent.csv"', ("absent.csv", "there is no such file")),
        ('columns = { force = "Load" }', ("no column 'Load'",)),
        ('columns = { load = "force" }', ("'load' is unknown",)),
        ('state = "annealed"', ('no state "annealed"',)),
        ("strenght_only = true", ('unknown key "strenght_only"',)),
        ('test = "compression"\ndirection = "45"', ("±45 coupons are pulled",)),
        ('test = "notched"\nspan = "64 mm"', ("the notch's depth is missing",)),
        ('width = ["5 mm", "5 mm"]', ("holds 2 values for 5 coupons",)),
    ],
)
def test_slips_in_the_file_are_named(tmp_path, more, texts):
    keys = tuple(f"{line.split(' = ')[0]} =" for line in more.splitlines())
    lines = [line for line in table("along", "along").splitlines() if not line.startswith(keys)]
    refused(along(tmp_path, "\n".join([*lines, more, ""])), *texts)


def test_a_second_test_that_disagrees_is_told(tmp_path):
    written(tmp_path, "along.csv", curves("along"))
    rng = np.random.default_rng(3)
    both = {}
    for E_pressed in (3500, 4900):
        written(tmp_path, "pressed.csv", [pulled(rng, E=E_pressed, strength=65) for _ in range(3)])
        pressed = table("pressed", "along").replace('"tension"', '"compression"')
        both[E_pressed] = made(folder_of(tmp_path, table("along", "along"), pressed))
    told = {
        E: [c.text for c in card.cautions if "times the modulus of batch along" in c.text] for E, card in both.items()
    }
    assert len(told[3500]) == 1
    assert not told[4900]
    entry = both[3500].states[0].entries[("E", 0)]
    assert entry.sample.n == 5  # tension counts first
    assert [c.text for c in both[4900].cautions if "no peak" in c.text] == [
        "Batch pressed: all coupons: no peak was reached: the strength is the stress at the record's end."
    ]


def test_a_machine_that_takes_most_of_the_path_is_told(tmp_path):
    written(tmp_path, "along.csv", curves("along", machine=1000.0))
    head = HEAD.replace(f"{MACHINE / 1000:g} kN/mm", "1 kN/mm")
    card = made(folder_of(tmp_path, table("along", "along"), head=head))
    assert any("rests on machine_stiffness" in c.text for c in card.cautions)
    assert card.states[0].entries[("E", 0)].value == pytest.approx(E[0], rel=0.04)
    assert not any("rests on" in c.text for c in made(along(tmp_path)).cautions)


def test_one_toughness_goes_round_by_critical_distance(tmp_path):
    written(tmp_path, "up.csv", curves("up"))
    lines = "".join(f"n{k},{load}\n" for k, load in enumerate((200, 210, 190)))
    (tmp_path / "notched.csv").write_text("coupon,force [N]\n" + lines)
    notched = table("notched", "up", more='span = "64 mm"\nnotch = "8 mm"', width='"16 mm"', thickness='"8 mm"')
    notched = notched.replace('"tension"', '"notched"')
    card = made(folder_of(tmp_path, table("up", "up"), notched))
    state = write_card(card, tmp_path / "tough.toml").states["dry"]
    assert state.toughness[2] == pytest.approx(10.65 * 200 / (8 * 4), rel=5e-3)
    lengths = [k / s for k, s in zip(state.toughness, state.tension, strict=True)]
    assert lengths == pytest.approx([lengths[2]] * 3, rel=2e-3)
    assert "toughness" in state.estimates


def test_grips_that_nobody_gave_are_told(tmp_path):
    written(tmp_path, "up.csv", curves("up", length=53.07))
    card = made(folder_of(tmp_path, table("up", "up", more='shape = "1BA"')))
    assert any("60 mm apart" in c.text for c in card.cautions)


def test_a_poissons_ratio_that_no_print_has(tmp_path):
    refused(
        along(tmp_path, table("along", "along").replace('"25 mm"', '"75 mm"')), "Poisson's ratio comes out as 1.0"
    )


def test_a_column_without_unit(tmp_path):
    folder = along(tmp_path, head=["coupon", "force", "path [mm]", "sideways [%]"])
    refused(folder, "along.csv", "the column has no unit", 'such as "force [N]"')


def test_a_folder_without_its_file(tmp_path):
    with pytest.raises(InputError, match=r"there is no coupons\.toml"):
        read_coupons(tmp_path)


def test_a_metal_is_no_base(tmp_path):
    refused(along(tmp_path), "steel is a metal", base="steel")


def block_table(more=""):
    return f"""
[batch.infill]
file = "infill.csv"
test = "infill"
direction = "up"
shape = "infill-block"
read = "coupon"
width = "30.1 mm"
thickness = "30 mm"
{more}
"""


GRID = 'pattern = "grid"\ndensity = 0.3\nbead_width = "0.45 mm"\nbead_height = "0.20 mm"'


def test_a_block_of_infill_beside_its_cell(tmp_path):
    """Upright walls of a grid stand side by side: pressed up the build, E is density times E up, and the first bead
    fails at density times the compression up. The invented blocks have 0.8 times the one and 1.1 times the other."""
    written(tmp_path, "up.csv", curves("up", scatter=1e-3))
    card = made(folder_of(tmp_path, table("up", "up")))
    E3, S3 = (card.states[0].entries[(key, 2)].value for key in ("E", "compression"))
    rng = np.random.default_rng(9)
    size = {"length": 30.0, "area": 903.0, "machine": None}
    blocks = [pulled(rng, E=0.8 * 0.3 * E3, strength=1.1 * 0.3 * S3, **size) for _ in range(3)]
    written(tmp_path, "infill.csv", blocks)
    grams = 'mass = "7.5 g"'
    card = made(folder_of(tmp_path, table("up", "up"), block_table(f"{GRID}\n{grams}")))
    (check,) = card.infill
    assert check.stiffness_ratio == pytest.approx(0.8, rel=0.01)
    assert check.buckling is None or check.buckling > check.first_bead
    # where walls cross, beads hold each other from widening: the first one fails some per cent earlier
    assert check.peak_ratio == pytest.approx(1.1, rel=0.05)
    assert check.fill.mean == pytest.approx(7.5e-6 / (30.1 * 30 * 30) / BASE.density, rel=1e-6)
    assert card.density is None  # blocks of infill do not weigh the material
    write_card(card, tmp_path / "mine.toml")
    assert "times the stiffness of the cell" in check.words
    assert check.words in (tmp_path / "mine.toml").read_text()


@pytest.mark.parametrize(
    ("more", "text"),
    [
        (GRID.replace("grid", "girid"), "girid"),
        (GRID.replace("density = 0.3", "density = 0.001"), "cannot be made"),
        (GRID.replace("density = 0.3", 'density = "30 %"'), "is no share"),
        ('pattern = "grid"', "density, bead_width, bead_height missing"),
    ],
)
def test_infill_that_cannot_be(tmp_path, more, text):
    written(tmp_path, "infill.csv", curves("up", n=1))
    refused(folder_of(tmp_path, block_table(more)), text)
