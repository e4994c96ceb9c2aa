"""One solid in two formats: drawn surfaces and triangles must bend alike."""

from pathlib import Path

import numpy as np
import pytest

from fem.part.meshing import jacobian_ratio, mesh_solid, shape_quality
from fem.part.quadrature import volume
from fem.part.solid import read_solid
from fem.study.file import read_study
from fem.study.run import answer, prepare

ROOT = Path(__file__).parents[2]
STUDY = ROOT / "studies" / "cantilever_bracket.toml"


def bent(solid, folder):
    text = STUDY.read_text(encoding="utf-8").replace('"../meshes/cantilever_bracket.step"', solid)
    assert solid in text
    path = folder / "study.toml"
    path.write_text(text, encoding="utf-8")
    return answer(prepare(read_study(path))).findings


def test_deflection_of_the_same_solid_in_two_formats(tmp_path):
    meshes = ROOT / "meshes"
    drawn = bent(f'"{meshes / "cantilever_bracket.step"}"', tmp_path)
    stl = bent(f'"{meshes / "cantilever_bracket.stl"}"\nunit = "mm"', tmp_path)
    one, other = (f.cases["service"] for f in (drawn, stl))
    assert other.maximum_displacement_mm == pytest.approx(one.maximum_displacement_mm, rel=0.01)
    tip = [np.array(c.points["tip"].displacement_mm) for c in (one, other)]
    assert tip[1] == pytest.approx(tip[0], abs=0.01 * np.linalg.norm(tip[0]))
    assert stl.bodies["bracket"].mass_g == pytest.approx(drawn.bodies["bracket"].mass_g, rel=0.005)
    # Twice the load is twice the deflection, so the comparison would see a wrong one
    assert drawn.cases["overload"].maximum_displacement_mm == pytest.approx(2 * one.maximum_displacement_mm, rel=1e-9)
    for findings in (drawn, stl):
        for case in findings.cases.values():
            assert case.force_error < 1e-8
            assert case.moment_error < 1e-8
            assert case.reaction_N == pytest.approx([-f for f in case.applied_N], abs=1e-5)
    assert one.applied_N == pytest.approx([0, 0, -60], abs=1e-9)
    # Clapeyron: the energy is half the force times the mean shift of the face it is spread over
    assert one.strain_energy_mJ == pytest.approx(-0.5 * 60 * one.faces["pad"].displacement_mm[2], rel=1e-6)


@pytest.mark.parametrize("suffix", ["step", "stl"])
def test_mesh_fills_the_solid(suffix):
    solid = read_solid(ROOT / "meshes" / f"cantilever_bracket.{suffix}", unit="mm" if suffix == "stl" else None)
    mesh = mesh_solid(solid, size=5.0, finest=2.0)
    assert volume(mesh, np.arange(len(mesh.tets), dtype=np.int32)) == pytest.approx(solid.volume, rel=0.005)
    assert shape_quality(mesh.nodes, mesh.tets).min() > 0.02
    assert jacobian_ratio(mesh.nodes, mesh.tets).min() > 0.0
    # Mid-side nodes on holes lie on the cylinder, not on its chords
    for index, face in enumerate(mesh.faces):
        if face.kind == "cylinder" and face.hole:
            off = mesh.nodes[mesh.nodes_of((index,))] - face.origin
            radial = np.linalg.norm(off - np.outer(off @ face.axis, face.axis), axis=1)
            assert np.abs(radial - face.radius).max() < 0.005 * face.radius
            break
    else:
        raise AssertionError("no hole was found")
