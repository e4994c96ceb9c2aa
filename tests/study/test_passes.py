"""A mesh chosen for its accuracy: an angle of metal with a sharp inner corner, and the same with a fillet."""

from itertools import pairwise

import numpy as np
import pytest
from helpers_cad import draw

from fem.errors import InputError, MeshError
from fem.study import passes
from fem.study.clock import Clock
from fem.study.file import read_study
from fem.study.fingerprint import mesh_key
from fem.study.passes import solve_as_asked
from fem.study.run import answer, prepare
from fem.study.shared_mesh import make_shared_mesh
from fem.study.solved import solve_cases_of
from fem.study.variants.expand import expand
from fem.study.variants.series import answer_series
from fem.study.variants.store import VariantStore

STUDY = """
title = "Angle"
[bodies.angle]
solid = "{solid}.step"
metal = "6082-t6"
mesh = {{ size = "8 mm", accuracy = "5 %" }}
[faces]
top = {{ plane = {{ normal = [0, 0, 1], at = "max" }} }}
end = {{ plane = {{ normal = [1, 0, 0], at = "max" }} }}
[supports.top]
face = "top"
fixed = ["x", "y", "z"]
[loads.pull]
face = "end"
force = ["0 N", "0 N", "-500 N"]
[watch]
faces = ["end"]
"""
LENGTH, WIDTH = 80.0, 20.0


def angle(fillet=0.0):
    """Draws two arms at a right angle, with a fillet of this radius in the inner corner."""
    import gmsh

    def build(occ):
        one, two = occ.addBox(0, 0, 0, WIDTH, WIDTH, LENGTH), occ.addBox(0, 0, 0, LENGTH, WIDTH, WIDTH)
        joined, _ = occ.fuse([(3, one)], [(3, two)])
        occ.synchronize()
        for _, edge in gmsh.model.getEntities(1) if fillet else ():
            box = np.array(gmsh.model.getBoundingBox(1, edge)).reshape(2, 3)
            if np.abs(box[:, [0, 2]] - WIDTH).max() < 0.1:
                occ.fillet([joined[0][1]], [edge], [fillet])

    return build


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("angles")
    for name, radius in (("sharp", 0.0), ("round", 6.0)):
        draw(place / f"{name}.step", angle(radius))
        (place / f"{name}.toml").write_text(STUDY.format(solid=name))
    return place


@pytest.fixture(scope="module")
def sharp(folder):
    return answer(prepare(read_study(folder / "sharp.toml")))


@pytest.fixture(scope="module")
def rounded(folder):
    return answer(prepare(read_study(folder / "round.toml")))


def test_a_sharp_corner_is_named_with_its_exponent(sharp):
    # Source: M. L. Williams, J. Appl. Mech. 19 (1952) 526: 0.5445 for a right angle cut out
    spots = [s for s in sharp.findings.cases["all"].hot_spots if not s.singular]
    at_corner = [s for s in spots if np.hypot(s.at_mm[0] - WIDTH, s.at_mm[2] - WIDTH) < 1.0]
    assert at_corner and spots[0] in at_corner
    for spot in at_corner:
        assert spot.verdict == "sharp corner"
        assert spot.exponent == pytest.approx(0.5445, abs=0.03)
    assert {s.verdict for s in sharp.findings.cases["all"].hot_spots if s.singular} == {"support"}


def test_a_sharp_corner_never_stands_still(sharp):
    trust = sharp.findings.trust
    reserves = [p["cases"]["all"]["reserve"] for p in trust["passes"]]
    assert trust["stopped_by"] == "passes" and reserves[-1] < 0.6 * reserves[0]
    told = [c for c in sharp.findings.cautions if c.kind == "accuracy_not_reached"]
    assert told and told[0].decisive and "all: reserve" in told[0].numbers["moving"]
    # Stiffness does, and its band is narrow
    case = sharp.findings.cases["all"]
    low, high = case.bands["maximum_displacement_mm"]
    assert low < case.maximum_displacement_mm < high < 1.03 * low


def on_one_mesh(folder, size):
    study = read_study(folder / "round.toml").with_({"bodies.angle.mesh": {"size": size}})
    return answer(prepare(study)).findings.cases["all"]


@pytest.fixture(scope="module")
def exact(folder):
    return on_one_mesh(folder, "2.5 mm")


@pytest.mark.parametrize("size", ["12 mm", "8 mm", "5 mm"])
def test_the_bands_of_one_mesh_hold_the_fine_values(folder, exact, size):
    case = on_one_mesh(folder, size)
    assert case.bands_from == "one mesh"
    low, high = case.reserve.band
    assert low <= exact.reserve.minimum <= high < 1.35 * low
    for key, value in exact.magnitudes.items():
        low, high = case.bands[key]
        assert low <= value <= high < 1.1 * low
    assert all(len(spot.band) == 2 and spot.verdict == "" for spot in case.hot_spots)


def test_a_fillet_settles_and_its_bands_hold_the_fine_values(rounded, exact):
    findings = rounded.findings
    case, spot = findings.cases["all"], findings.cases["all"].hot_spots[0]
    assert findings.trust["stopped_by"] == "accuracy" and len(findings.trust["passes"]) >= 3
    assert spot.verdict == "settled" and spot.exponent is None and case.bands_from == "several meshes"
    assert not [c for c in findings.cautions if c.kind == "accuracy_not_reached"]
    for key, value in passes.watched_values(exact).items():
        low, high = case.reserve.band if key.startswith("reserve") else case.bands[key]
        assert low <= value <= high
    assert case.reserve.minimum == pytest.approx(exact.reserve.minimum, rel=0.05)


def test_unknowns_grow_and_are_told(rounded):
    counts = [p["unknowns"] for p in rounded.findings.trust["passes"]]
    assert all(b > 1.3 * a for a, b in pairwise(counts))
    assert counts[-1] == rounded.findings.mesh.unknowns == rounded.ready.mesh.unknowns
    errors = [p["relative_energy_error"] for p in rounded.findings.trust["passes"]]
    assert errors[-1] < 0.05 and errors == sorted(errors, reverse=True)


def test_a_budget_ends_it(folder):
    study = read_study(folder / "round.toml").with_({"bodies.angle.mesh.most_unknowns": 12_000})
    findings = answer(prepare(study)).findings
    assert findings.trust["stopped_by"] == "unknowns" and findings.mesh.unknowns <= 12_000


def test_a_mesh_that_fails_leaves_the_last_answer(folder, monkeypatch):
    def fails(*_given, **_named):
        raise MeshError("no tetrahedra came out.")

    monkeypatch.setattr(passes, "refined", fails)
    findings = answer(prepare(read_study(folder / "round.toml"))).findings
    assert findings.trust["stopped_by"] == "mesh" and len(findings.trust["passes"]) == 1
    case = findings.cases["all"]
    assert case.bands_from == "one mesh" and case.hot_spots[0].verdict == "" and len(case.hot_spots[0].band) == 2


def test_a_pass_begins_at_the_last_answer(folder):
    ready = prepare(read_study(folder / "round.toml"))
    solved = solve_cases_of(ready)
    finer = prepare(ready.study.with_({"bodies.angle.mesh": {"size": "5 mm"}}))
    warm = solve_cases_of(finer, begin=passes._carried(ready, finer, solved.moved))
    cold = solve_cases_of(finer)
    assert warm.iterations < cold.iterations
    for name in cold.answers:
        ours, theirs = (s.answers[name].fields.displacement for s in (warm, cold))
        assert np.abs(ours - theirs).max() < 1e-7 * np.abs(theirs).max()


def test_sizes_alone_are_solved_once(folder):
    study = read_study(folder / "round.toml").with_({"bodies.angle.mesh": {"size": "8 mm"}})
    ready, solved = solve_as_asked(prepare(study))
    assert solved.passes is None and ready.shared_mesh.refined_for == ""
    assert "passes" not in answer(ready).findings.trust


def test_variants_share_one_refined_mesh(folder):
    text = (folder / "round.toml").read_text()
    (folder / "choose.toml").write_text(
        text + '[variants.light]\n"loads.pull.force" = ["0 N", "0 N", "-250 N"]\n'
        '[variants.steel]\n"bodies.angle.metal" = "steel"\n'
    )
    told = answer_series(expand(read_study(folder / "choose.toml")), store=VariantStore(folder / "kept"), jobs=1)
    assert len({each.findings.mesh.unknowns for each in told}) == 1
    light, steel = (next(t.findings for t in told if t.variant.name == name) for name in ("light", "steel"))
    assert light.trust["mesh_refined_for"] == steel.trust["mesh_refined_for"] == told[0].variant.name
    # On one mesh stress is the same to rounding, whatever the load and the stiffness
    strengths = [f.cases["all"].reserve.minimum for f in (light, steel)]
    assert strengths[0] != strengths[1]
    assert light.cases["all"].hot_spots[0].at_mm == steel.cases["all"].hot_spots[0].at_mm
    assert [c.kind for c in light.cautions].count("shared_mesh") == 1


def test_a_refined_ground_stands_for_its_study_alone(folder):
    study = read_study(folder / "round.toml")
    other = study.with_({"bodies.angle.mesh.accuracy": "10 %"})
    assert mesh_key(study) != mesh_key(other)
    shared_mesh = make_shared_mesh(study, clock=Clock(None))
    with pytest.raises(InputError, match="meshed otherwise"):
        prepare(other, shared_mesh=shared_mesh)
