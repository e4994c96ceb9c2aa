"""Bolts in a study: found from their holes, tightened, locked, loaded; and what is said when they cannot be."""

from dataclasses import replace

import numpy as np
import pytest
from helpers_cad import draw

from fem.errors import InputError
from fem.joining.bolt_forces import bolt_tractions
from fem.judging.clamped_layers import clamps_of, layers_of
from fem.judging.direction import judge_units
from fem.judging.findings import read_findings, write_findings
from fem.loading.case import LoadCase
from fem.study.check import check_study
from fem.study.file import read_study
from fem.study.orientation.prepared_scan import prepare_scan
from fem.study.prepare import bolts_of, joints_of
from fem.study.run import answer, prepare
from fem.telling.blocks import Heading, Table
from fem.telling.review.loads import loads
from fem.telling.review.material import Material

FLANGE = """
title = "A lid screwed on a block"
[bodies.block]
solid = "block.step"
metal = "6082-t6"
mesh = { size = "8 mm" }
[bodies.lid]
solid = "lid.step"
metal = "6082-t6"
mesh = { size = "7 mm" }
[faces]
foot = { body = "block", plane = { normal = [0, 0, -1], at = "min" } }
top = { body = "block", plane = { normal = [0, 0, 1], at = "max" } }
under = { body = "lid", plane = { normal = [0, 0, -1], at = "min" } }
land = { body = "lid", plane = { normal = [0, 0, 1], at = "max" } }
side = { body = "lid", plane = { normal = [1, 0, 0], at = "max" } }
tapped = { body = "block", cylinder = { radius = "2.5 mm" } }
[supports.ground]
face = "foot"
fixed = ["x", "y", "z"]
[joints.seat]
faces = ["under", "top"]
friction = 0.3
[bolts.middle]
size = "M6"
grade = "8.8"
head = "land"
thread = "tapped"
preload = "6 kN"
tightening_scatter = 1.5
[loads.lift]
face = "land"
force = ["0 N", "0 N", "1 kN"]
[cases]
pulled = { lift = 1.0 }
"""


PRINTED = (
    'print = { polymer = "pa6-cf", state = "conditioned", infill = { pattern = "solid" }, '
    'build_direction = [0, 0, 1], raster_zero = [1, 0, 0], bead = { width = "0.45 mm", height = "0.2 mm" } }'
)
LID = '[bodies.lid]\nsolid = "lid.step"\n'


def written(folder, text=FLANGE, *, off=0.0, hole=3.3, tapped=2.5, deep=12.0, sunk=0.0, counterbore=0.0):
    """A lid of 30 x 30 x 10 mm with a clearance hole, and a `counterbore` that deep, on a block with a hole tapped M6
    right below it, or `sunk` [mm] below a wider one."""

    def block(occ):
        whole = occ.addBox(-15, -15, -16, 30, 30, 16)
        bores = [(3, occ.addCylinder(0, 0, -deep, 0, 0, deep, tapped))]
        if sunk:
            bores.append((3, occ.addCylinder(0, 0, -sunk, 0, 0, sunk, hole)))
        return occ.cut([(3, whole)], bores)[0][0][1]

    def lid(occ):
        whole = occ.addBox(-15, -15, 0, 30, 30, 10)
        bores = [(3, occ.addCylinder(off, 0, 0, 0, 0, 10, hole))]
        if counterbore:
            bores.append((3, occ.addCylinder(off, 0, 10 - counterbore, 0, 0, counterbore, 7.5)))
        return occ.cut([(3, whole)], bores)[0][0][1]

    draw(folder / "block.step", block)
    draw(folder / "lid.step", lid)
    path = folder / "flange.toml"
    path.write_text(text.replace("2.5 mm", f"{tapped} mm"))
    return path


def test_a_bolt_shares_its_load_with_what_it_clamps_until_that_opens(tmp_path):
    """Its pull grows by what the clamp loses less the load itself, at any load; with none, both are the preload; once
    nothing is clamped, the bolt bears the load alone (equilibrium; R. G. Budynas and J. K. Nisbett, Shigley's
    Mechanical Engineering Design, section 8-7)."""
    path = written(tmp_path, FLANGE + "idle = { lift = 0.001 }\ntorn = { lift = 12.0 }\n")
    found = answer(read_study(path)).findings
    bolts = {name: case.bolts["middle"] for name, case in found.cases.items()}
    assert bolts["idle"].force_N == pytest.approx(6000, abs=2)
    assert bolts["idle"].clamp_N == pytest.approx(4000, abs=2)
    assert not bolts["pulled"].open
    # Of a load on the lid itself, the bolt gets the share of stiffnesses: some of it, and by far not all
    assert 0.0 < bolts["pulled"].change_N < 500
    assert 3000 < bolts["pulled"].clamp_N < 3500
    assert bolts["torn"].open
    assert bolts["torn"].force_N == pytest.approx(12000, rel=1e-3)
    assert bolts["torn"].shear_N < 20
    assert max(case.force_error for case in found.cases.values()) < 1e-8
    assert {c.kind for c in found.cautions} >= {"joint_opens"}


@pytest.mark.parametrize(
    ("old", "new", "drawn", "said"),
    [
        ('size = "M6"', 'size = "M7"', {}, "M7"),
        ('grade = "8.8"', 'grade = "8.9"', {}, "8.9"),
        ('head = "land"', 'head = "side"', {}, "no round hole opens"),
        ('thread = "tapped"', 'thread = "tapped"\nlength = "20 mm"', {}, "a bolt ends in a thread, or"),
        ('thread = "tapped"', "", {}, "a bolt ends in a thread, or"),
        ('preload = "6 kN"', 'preload = "6 kN"\ntorque = "8 N*m"', {}, "by a torque or to a preload"),
        ('preload = "6 kN"', 'torque = "16 N*m"', {}, "beyond its yield"),
        ('preload = "6 kN"', 'preload = "6"', {}, "unit"),
        ('preload = "6 kN"', 'preload = "6 kN"\nheld_by = "glue"', {}, "not held by"),
        ("", "", {"off": 1.2}, "do not line up: their axes lie 1.2 mm apart"),
        ("", "", {"hole": 2.8}, "narrower than the bolt's 6 mm"),
        ("", "", {"tapped": 4.0}, "a hole tapped M6 is drawn"),
        ("", "", {"deep": 1.8}, "bears nothing"),
    ],
)
def test_a_bolt_that_cannot_be_is_refused_in_a_line(tmp_path, old, new, drawn, said):
    with pytest.raises(InputError) as caught:
        check_study(written(tmp_path, FLANGE.replace(old, new, 1) if old else FLANGE, **drawn))
    assert said in str(caught.value)
    assert "bolts.middle" in str(caught.value)


def test_check_tells_what_a_torque_pulls(tmp_path):
    # M_A = F (0.16 P + 0.58 d2 mu + DKm/2 mu) (VDI 2230) with P 1, d2 5.35 mm, DKm between a head of 9.4 mm (ISO
    # 4762: dw at least) and a washer of 6.4 mm (ISO 7089): 1.147 mm
    (bolt,) = check_study(written(tmp_path, FLANGE.replace('preload = "6 kN"', 'torque = "9.4 N*m"'))).bolts
    assert bolt.tightened.high == pytest.approx(9400 / 1.147, rel=0.01)
    assert bolt.tightened.low == pytest.approx(bolt.tightened.high / 1.5, rel=1e-9)
    assert bolt.grip == pytest.approx(10, abs=1e-6)
    assert bolt.engagement == pytest.approx(12, abs=1e-6)
    assert np.abs(bolt.axis) == pytest.approx([0, 0, 1], abs=1e-9)


def test_the_floor_of_a_counterbore_takes_one_head(tmp_path):
    text = FLANGE.replace("[faces]", '[faces]\nfloor = { body = "lid", plane = { normal = [0, 0, 1], at = "6 mm" } }')
    (bolt,) = check_study(written(tmp_path, text.replace('"land"\nthread', '"floor"\nthread'), counterbore=4.0)).bolts
    assert bolt.name == "middle" and bolt.grip == pytest.approx(6, abs=1e-6)
    assert bolt.at == pytest.approx([0, 0, 6], abs=1e-6)


def test_what_bolts_press_on_beads_is_what_they_press_on_the_mesh(tmp_path):
    ready = prepare(read_study(written(tmp_path)))
    (bolt,) = bolts_of(ready.study, ready.mesh, ready.groups)
    forces = np.array([3000.0, 40.0, 500.0, -700.0, 20.0, 90.0])
    mesh = ready.mesh
    ours = sum(traction.nodal_forces(mesh) for traction in bolt_tractions(mesh, bolt, forces))
    theirs = -(bolt.columns @ forces).reshape(-1, 3)
    assert np.abs(ours - theirs).max() < 1e-9 * np.abs(theirs).max()
    assert np.abs(ours.sum(axis=0)).max() < 1e-6


def test_each_clearance_that_a_joint_names_stands_in_a_table(tmp_path):
    """What a first clearance makes of the cases is told as always; another says what a study of its own says."""
    text = FLANGE.replace("friction = 0.3", 'clearance = ["0 mm", "0.05 mm"]').replace(
        "scatter = 1.5", "scatter = 1.0"
    )
    path = written(tmp_path, text)
    found = answer(read_study(path)).findings
    fits = {fit.clearance_mm: fit for fit in found.fits}
    assert [fit.asked for fit in found.fits] == [True, False]
    assert fits[0.0].cases["pulled"].reserve == found.cases["pulled"].reserve.minimum
    alone = answer(read_study(path).with_({"joints.seat.clearance": "0.05 mm"})).findings
    assert not alone.fits
    own, other = fits[0.05].cases["pulled"], alone.cases["pulled"]
    assert own.bolt_force_N == pytest.approx(other.bolts["middle"].force_N, rel=1e-6)
    assert own.maximum_displacement_mm == pytest.approx(other.maximum_displacement_mm, rel=1e-6)


def printed_lid(text=FLANGE):
    """The flange with a lid of nylon in place of aluminium."""
    return text.replace(LID + 'metal = "6082-t6"', LID + PRINTED)


def fitted(folder, text=FLANGE, **drawn):
    """Bolts, joints, mesh and what bodies are made of, before anything is solved."""
    ready = prepare(read_study(written(folder, text, **drawn)))
    found = (ready.study, ready.mesh, ready.groups)
    return bolts_of(*found), joints_of(*found), ready.mesh, ready.made


@pytest.fixture(scope="module")
def screwed(tmp_path_factory):
    """A printed lid, and 4 mm of the block above its thread."""
    return fitted(tmp_path_factory.mktemp("screwed"), printed_lid(), sunk=4.0)


def test_a_bolt_clamps_the_lid_then_the_block_down_to_the_thread(screwed):
    (bolt,), joints, mesh, made = screwed
    lid, block = layers_of(bolt, joints, mesh, made)
    assert (lid.thickness, block.thickness) == pytest.approx((10, 4), abs=1e-6)
    assert (lid.state.name, block.state.yield_stress) == ("conditioned", made["block"].values.yield_stress)
    assert block.modulus == pytest.approx(made["block"].values.E[0], rel=1e-9)
    # Layers lie flat under the head: a solid print gives as its card says, up the build, or somewhat less, since
    # crossed layers hinder each other from growing aside
    assert np.abs(lid.axis) == pytest.approx([0, 0, 1], abs=1e-9)
    assert 1.0 <= lid.modulus / made["lid"].values.E[2] < 1.1
    # A joint that the bolt does not pass through, or that ends beside it, divides nothing
    assert len(layers_of(bolt, [], mesh, made)) == 1


def test_a_joint_beside_a_bolt_is_none_of_its_borders(screwed):
    (bolt,), (joint,), mesh, made = screwed
    beside = joint.facing.only(joint.facing.places[:, 0] > 4.0)
    assert len(layers_of(bolt, [replace(joint, facing=beside)], mesh, made)) == 1


def test_a_thread_right_below_the_joint_leaves_the_lid_alone_to_be_clamped(tmp_path):
    (bolt,), joints, mesh, made = fitted(tmp_path)
    (lid,) = layers_of(bolt, joints, mesh, made)
    assert lid.thickness == pytest.approx(10, abs=1e-6)


def test_what_is_not_meshed_is_no_layer(tmp_path):
    text = FLANGE.replace('thread = "tapped"', 'length = "20 mm"').replace(
        '[joints.seat]\nfaces = ["under", "top"]\nfriction = 0.3', ""
    )
    bolts, _, mesh, made = fitted(tmp_path, text)
    (lid,) = layers_of(bolts[0], [], mesh, made)
    assert lid.thickness == pytest.approx(10, abs=1e-6)


def test_less_of_a_clamp_stays_on_a_polymer_than_on_a_metal(screwed, tmp_path):
    bolts, joints, mesh, made = screwed
    clamps, cautions = clamps_of(bolts, joints, mesh, made)
    metal, silent = clamps_of(bolts, joints, mesh, {**made, "lid": made["block"]})
    hours = clamps["middle"].hours[-1]
    assert 0.1 < clamps["middle"].kept(hours) < 0.9
    assert metal["middle"].kept(hours) == 1.0 and not silent
    assert "creep_estimated" in {c.kind for c in cautions}
    # In the polymer itself the thread creeps as well, which is said; not to know a card is said, too
    _, told = clamps_of(bolts, joints, mesh, {**made, "block": made["lid"], "lid": made["block"]})
    assert "thread_creeps" in {c.kind for c in told}
    none, told = clamps_of(bolts, joints, mesh, {**made, "lid": replace(made["lid"], values=None)})
    assert not none and [c.kind for c in told] == ["clamp_not_told"]


def test_a_run_tells_what_stays_of_its_clamps(tmp_path):
    # Glued, so that no growing load is followed: what a bolt clamps is the same
    text = printed_lid().replace("friction = 0.3", 'kind = "bonded"') + "[judge]\nzoom = 0\n"
    found = answer(read_study(written(tmp_path, text, sunk=4.0))).findings
    clamp = found.clamps["middle"]
    assert clamp.preload_high_N == pytest.approx(6000) and clamp.preload_low_N == pytest.approx(4000)
    assert clamp.states == ("conditioned", "as_supplied") and clamp.cautions == ()
    assert [c.kind for c in found.cautions].count("creep_estimated") == 1
    assert read_findings(write_findings(found, tmp_path / "findings.json")) == found
    blocks = loads(Material(found, free_bodies=False)).blocks
    titles = [block.text for block in blocks if isinstance(block, Heading)]
    assert titles.count("Clamp with time") == 1
    told = next(b for b in blocks if isinstance(b, Table) and "Clamp with time" in b.caption)
    assert told.rows[0][0].text == "middle"


def test_a_scan_of_build_directions_tightens_bolts_as_a_run_does(tmp_path):
    text = printed_lid().replace("friction = 0.3", 'kind = "bonded"') + "[judge]\nzoom = 0\n"
    study = read_study(written(tmp_path, text))
    told = answer(study).findings.cases["pulled"]
    ready = prepare(study)
    scan = prepare_scan(study, ready.mesh, body="lid")
    cases = [LoadCase(name, factors, ready.loads) for name, factors in study.cases.items()]
    (units,) = scan.solved(ready.printed, cases)
    found = judge_units(ready.printed, units)["pulled"]
    assert found.least.reserve == pytest.approx(told.reserve.minimum, rel=0.01)
    assert told.tightened in ("low", "high") and told.bolts["middle"].force_N > 6000


def test_a_bolt_that_has_gone_loose_bears_nothing(tmp_path):
    # Pressed together by more than the bolt was stretched: what is left is the same as without the bolt
    glued = FLANGE.replace("friction = 0.3", 'kind = "bonded"').replace('"1 kN"]', '"-400 kN"]')
    without = glued[: glued.index("[bolts")] + glued[glued.index("[loads") :]
    found, bare = (answer(read_study(written(tmp_path, text))).findings for text in (glued, without))
    case, alone = found.cases["pulled"], bare.cases["pulled"]
    bolt = case.bolts["middle"]
    assert (bolt.force_N, bolt.shear_N, bolt.bending_Nmm) == (0, 0, 0)
    assert case.maximum_displacement_mm == pytest.approx(alone.maximum_displacement_mm, rel=1e-7)
    assert case.force_error < 1e-8
    assert [c.decisive for c in found.cautions if c.kind == "bolt_loose"] == [False]
    # One that still pulls does change what the lid does
    light = [text.replace("-400 kN", "-1 kN") for text in (glued, without)]
    still, free = (answer(read_study(written(tmp_path, text))).findings.cases["pulled"] for text in light)
    assert still.bolts["middle"].force_N > 5000
    assert still.maximum_displacement_mm != pytest.approx(free.maximum_displacement_mm, rel=1e-3)
