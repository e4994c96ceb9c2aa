"""Records as benches really give them: gauges that slip or end, polymers that draw, files of odd make.

The curves are E e / (1 + (E e / S)^m)^(1 / m), known in closed form (R. M. Richard and B. J. Abbott, J. Eng. Mech.
Div. 101 (1975) 511), and made here apart from the other tests' invented coupons.
"""

from __future__ import annotations

import numpy as np
import pytest

from fem.coupons.card_file import own_card, write_card
from fem.coupons.fits import fit_coupon
from fem.coupons.fractile import Sample, scatter_margin
from fem.coupons.line import TENSION_WINDOW, straight_part
from fem.coupons.nouns import Batch, Coupon, Curve
from fem.coupons.reading import read_coupons
from fem.errors import InputError

E, STRENGTH, AREA, GAUGE = 3000.0, 50.0, 40.0, 50.0


def stress(strain, *, m=3.0):
    return E * strain / (1 + (E * strain / STRENGTH) ** m) ** (1 / m)


def record(end=0.03, points=400):
    """Strain and stress."""
    strain = np.linspace(0, end, points)
    return strain, stress(strain)


def fitted(strain, stresses, *, test="tension", direction="along", sideways=None):
    curve = Curve(stresses * AREA, strain * GAUGE, sideways)
    batch = Batch("b", test, direction, "dry", 23.0, GAUGE, ())
    return fit_coupon(batch, Coupon("c1", curve, 10.0, 4.0))


def said(fit):
    return " ".join(fit.remarks)


@pytest.mark.parametrize("ends", [0.008, 0.0022, 0.0015])
def test_a_gauge_at_its_end_spoils_neither_modulus_nor_strength(ends):
    strain, s = record()
    fit = fitted(np.minimum(strain, ends), s)
    assert fit.gives["E"] == pytest.approx(E, rel=0.01)
    assert fit.gives["strength"] == pytest.approx(s.max(), rel=1e-9)
    assert "break" not in fit.gives
    assert "stands still" in said(fit)


def test_a_gauge_that_moves_to_the_end_gives_the_strain_at_break():
    strain, s = record()
    fit = fitted(strain, s)
    assert fit.gives["break"] == pytest.approx(0.03, rel=0.01)
    assert not fit.remarks


def test_the_shear_strength_is_read_where_the_gauge_ends():
    strain, s = record(end=0.06)
    fit = fitted(np.minimum(strain, 0.01), s, direction="45")
    assert fit.gives["shear"] == pytest.approx(stress(0.01) / 2, rel=0.02)
    assert "where it stops" in said(fit)


@pytest.mark.parametrize("jump", [-0.0006, 0.0005])
def test_a_slip_amid_the_modulus_window_is_refused(jump):
    strain, s = record()
    slipped = np.where(strain > 0.0016, strain + jump, strain)
    with pytest.raises(InputError, match=r"c1: the strain jumps by .* gauge or grips slipped"):
        fitted(slipped, s)


@pytest.mark.parametrize("toe", [0.0, 0.0005])
@pytest.mark.parametrize("step", [0.0, 2e-4])
def test_noise_steps_of_a_scale_and_a_toe_are_no_slip(toe, step):
    rng = np.random.default_rng(11)
    for _ in range(20):
        strain, s = record(points=int(rng.integers(200, 2000)))
        read = strain + toe * (1 - np.exp(-s / 2)) + 3e-5 * rng.standard_normal(len(s))
        read = np.round(read / step) * step if step else read
        line = straight_part(read, s, window=TENSION_WINDOW)
        assert line.slope == pytest.approx(E, rel=0.25)


def test_strains_too_coarse_for_a_line_are_refused():
    strain, s = record()
    with pytest.raises(InputError, match="only 2 points of different strain"):
        fitted(np.round(strain / 0.001) * 0.001, s)


@pytest.mark.parametrize("dip", [0.985, 0.7])
def test_drawing_after_the_yield_makes_no_strength(dip):
    """It yields near 50 MPa and bears a third more after drawing to thrice its length."""
    strain = np.concatenate([np.linspace(0, 0.08, 300), np.linspace(0.081, 2, 600)])
    s = stress(strain) * np.interp(strain, [0, 0.08, 0.2, 1.2, 2], [1, 1, dip, dip, 1.35])
    fit = fitted(strain, s)
    assert s.max() > 1.3 * STRENGTH
    assert fit.gives["strength"] == pytest.approx(STRENGTH, rel=0.03)
    assert fit.gives["break"] == pytest.approx(2.0, rel=0.01)


def test_a_load_that_rises_on_is_told():
    strain = np.linspace(0, 0.5, 2500)
    fit = fitted(strain, stress(strain) + 60 * strain)
    assert fit.gives["strength"] == pytest.approx(stress(0.1) + 6, rel=0.01)
    assert "rises beyond 10 % strain" in said(fit)


def test_a_load_that_stood_at_zero_path_is_told():
    strain, s = record()
    assert "stood already" in said(fitted(strain, s + 4.0))
    assert "stood already" not in said(fitted(strain, s + 0.5))


BATCH = """
date = 2026-11-20
[batch.along]
file = "along.csv"
test = "tension"
direction = "along"
gauge_length = "50 mm"
width = "10 mm"
thickness = "4 mm"
"""


def bench(tmp_path, raw, *, more=""):
    (tmp_path / "coupons.toml").write_text(BATCH + more, encoding="utf-8")
    (tmp_path / "along.csv").write_bytes(raw)
    return read_coupons(tmp_path)


def rows(*, scales=(1.0, 1.01, 0.99), form="c{},{:.3f},{:.4f}"):
    strain, s = record(points=200)
    lines = [
        form.format(k, f * x * AREA, e * GAUGE)
        for k, f in enumerate(scales, 1)
        for e, x in zip(strain, s, strict=True)
    ]
    return "coupon,force [N],path [mm]\n" + "\n".join(lines) + "\n"


@pytest.mark.parametrize("coding", ["utf-16", "utf-16-le", "utf-16-be", "utf-8-sig"])
def test_files_of_any_coding(tmp_path, coding):
    read = bench(tmp_path, rows().replace("\n", "\r\n").encode(coding)).batches[0].coupons
    assert [c.name for c in read] == ["c1", "c2", "c3"]
    assert read[0].curve.force.max() == pytest.approx(AREA * stress(0.03), rel=1e-4)


def test_decimal_commas_between_commas_are_refused(tmp_path):
    with pytest.raises(InputError, match="rows hold 5 cells under 3 heads"):
        bench(tmp_path, rows().replace(".", ",").encode())


def test_a_quote_that_never_closes_is_refused(tmp_path):
    raw = 'coupon,force [N],path [mm]\n"c1,1,2\n' + "x" * 140_000
    with pytest.raises(InputError, match="cannot be read as a table"):
        bench(tmp_path, raw.encode())


def test_a_copied_coupon_is_refused(tmp_path):
    with pytest.raises(InputError, match=r"c3: has the very readings of c1"):
        own_card(bench(tmp_path, rows(scales=(1, 1.02, 1)).encode()), name="x", base="pla")


def test_the_odd_one_of_a_batch_is_named(tmp_path):
    card = own_card(bench(tmp_path, rows(scales=(1, 1.02, 0.99, 1.01, 0.6)).encode()), name="x", base="pla")
    text = " ".join(c.text for c in card.cautions)
    assert "the strength varies by" in text
    assert "c5 has" in text


def test_a_mean_in_the_place_of_a_characteristic_value_is_told(tmp_path):
    read = bench(tmp_path, rows(scales=(1, 1.02)).encode())
    card = own_card(read, name="x", base="pla", characteristic=True)
    text = " ".join(c.text for c in card.cautions)
    assert "tension along: no characteristic value" in text
    assert "scaled by means" in text
    assert "no characteristic value (" not in " ".join(c.text for c in own_card(read, name="x", base="pla").cautions)


def test_coupons_stronger_up_than_along_are_told(tmp_path):
    up = BATCH[BATCH.index("[") :].replace("along", "up")
    (tmp_path / "up.csv").write_text(rows(scales=(1.2, 1.21, 1.19)))
    card = own_card(bench(tmp_path, rows().encode(), more=up), name="x", base="pla")
    assert any("check which coupons are which" in c.text for c in card.cautions)


@pytest.mark.parametrize(("times", "up"), [(1.3, 1.0), (0.7, 0.7)])
def test_stronger_beads_make_no_stronger_bonds(tmp_path, times, up):
    """Tension up and shear that parts layers are scaled down by beads alone, never up."""
    scale = times * card_state("pla").tension[0] / stress(0.03)
    card = own_card(bench(tmp_path, rows(scales=(scale, 1.01 * scale, 0.99 * scale)).encode()), name="x", base="pla")
    made, base = card.states[0].entries, card_state("pla")
    assert made[("tension", 2)].value == pytest.approx(up * base.tension[2], rel=1e-3)
    assert made[("shear", 0)].value == pytest.approx(up * base.shear[0], rel=1e-3)
    assert made[("tension", 1)].value == pytest.approx(times * base.tension[1], rel=1e-3)
    assert not made[("tension", 2)].measured


def card_state(name):
    from fem.printing.polymer import load_card

    return next(iter(load_card(name).states.values()))


@pytest.mark.parametrize(("n", "margin"), [(3, 1.865), (5, 1.442), (10, 1.235)])
def test_the_margin_of_few_coupons(n, margin):
    """chi2 at 25 %: 0.5754, 1.9226 and 5.8988 with 2, 4 and 9 degrees of freedom (tables of the distribution)."""
    assert scatter_margin(n) == pytest.approx(margin, abs=0.001)


def test_the_true_scatter_is_within_the_margin_in_three_of_four_draws():
    rng = np.random.default_rng(5)
    draws = rng.normal(50, 4, (1500, 5))
    safe = [Sample(tuple(row)).safe_cov for row in draws]
    plain = [Sample(tuple(row)).cov for row in draws]
    assert np.mean(np.array(safe) > 0.08) == pytest.approx(0.75, abs=0.03)
    assert np.mean(np.array(plain) > 0.08) < 0.5


def test_strain_at_break_stands_on_the_card(tmp_path):
    """Along as measured, the other directions in step with it, and marked; nothing where the gauge ended early."""
    card = own_card(bench(tmp_path, rows(scales=(1, 1.02, 0.99)).encode()), name="x", base="pla")
    state = write_card(card, tmp_path / "x.toml").states["dry"]
    base = card_state("pla")
    assert state.strain_at_break[0] == pytest.approx(0.03, rel=0.01)
    assert state.strain_at_break[2] == pytest.approx(
        base.strain_at_break[2] * 0.03 / base.strain_at_break[0], rel=0.02
    )
    assert "strain_at_break" in state.estimates
    assert "own coupons in tension, n = 3" in state.sources["strain_at_break"]


def test_moduli_scatter_as_measured_with_the_margin(tmp_path):
    card = own_card(bench(tmp_path, rows(scales=(1, 1.06, 0.94)).encode()), name="x", base="pla")
    state = write_card(card, tmp_path / "x.toml").states["dry"]
    assert state.elastic_scatter == pytest.approx(0.06 * 1.865, rel=0.02)
    assert "elastic_scatter" not in state.estimates
