"""A measured curve of the printed part beside its prediction, and what would have to move for both to agree."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fem.errors import InputError
from fem.judging.bench_findings import BenchFindings, BenchFit
from fem.judging.body_findings import BodyFindings
from fem.judging.findings import CaseFindings
from fem.judging.measured import CurveReading, MeasuredCurve, read_curve
from fem.printing.card.nouns import CardState
from fem.tensors import Array

MOST_POINTS = 240
"""Points of a curve that are kept to be drawn."""
APART = 20.0
"""Stiffnesses that differ by more than this factor are not of the same thing."""
SLIP = (200.0, 5000.0)
"""A ratio between these, either way, is a unit's slip of a thousand: N for kN, µm for mm."""
MEASURED = 0.02
"""What a stiffness or a load measured by hand may lie off, at least (common practice: a dial gauge and a scale)."""
UNKNOWN = 0.1
"""Half of a band where none is known, as a share."""
TELLS = 0.1
"""Below this share a change of the card's value hardly changes what was measured: it cannot be told."""
AT_EDGE = 1.01
"""A place at an edge decides where reserve factors away from edges are more than so many times as large."""
RANGE = (1 / 20, 20.0)
"""Scales are looked for between these."""


@dataclass(frozen=True)
class BenchTest:
    """A test as the study says it: its `curve`, the `case` and its measured `load` ("": all that grow together),
    where the deflection was read (`point` or `face`, the other ""), in the `direction` (3,) (None: along the load),
    mass [g] and print time [h] as measured, loads [N] that count in place of the curve's, `stopped`: before failure;
    `file` and `sha256` are the curve's own.
    """

    name: str
    curve: MeasuredCurve
    case: str
    load: str = ""
    point: str = ""
    face: str = ""
    direction: tuple[float, float, float] | None = None
    mass: float | None = None
    print_time: float | None = None
    first_knee: float | None = None
    failure: float | None = None
    stopped: bool = False
    file: str = ""
    sha256: str = ""

    @property
    def place(self) -> str:
        """Where the deflection was read, in words."""
        return f"point {self.point}" if self.point else f"face {self.face}"


@dataclass(frozen=True)
class BenchPrediction:
    """What is predicted of a test at the case's own loads: the measured load's resultant `force` [N], how far the
    place moves by what grows (`deflection` [mm] in `direction`), in `body`, and the relative change `part_share` of
    it for a unit growth of that body's stiffness. `interlayer` (k, 2): factors on the interlayer strengths, and the
    factor on the minimum reserve that each makes; empty where the case has none.
    """

    force: float
    deflection: float
    direction: tuple[float, ...]
    body: str
    part_share: float
    interlayer: Array


def bench_findings(
    test: BenchTest,
    predicted: BenchPrediction,
    *,
    case: CaseFindings,
    bodies: Mapping[str, BodyFindings],
    scatter: float,
    elastic_scatter: float,
) -> BenchFindings:
    """A test beside its prediction; `scatter` and `elastic_scatter` are the coefficients of variation of strength
    and stiffness of the body's card.

    Errors: InputError where the two cannot be of the same part: opposite directions, or stiffnesses far apart.
    """
    read = read_curve(test.curve)
    stiffness = predicted.force / predicted.deflection if predicted.deflection else math.inf
    ratio = read.stiffness / stiffness
    _refuse_apart(test, predicted, ratio)
    low, high = _stiffness_band(test, case, elastic_scatter)
    printed = [body for body in bodies.values() if body.print is not None]
    fails, failing = case.reserve.minimum * predicted.force, math.isfinite(case.reserve.minimum)
    spread = _spread(scatter)
    band = tuple(b * predicted.force * f for b, f in zip(case.reserve.band, (1 / spread, spread), strict=False))
    knee = read.first_knee if test.first_knee is None else test.first_knee
    failure = read.failure if test.failure is None else test.failure
    x, y = _drawn(test.curve, read)
    comparable = failing and fails > 0
    return BenchFindings(
        case=test.case,
        load=test.load,
        place=test.place,
        body=predicted.body,
        direction=predicted.direction,
        deflection_mm=x,
        load_N=y,
        toe_mm=read.toe,
        compliance_mm_per_N=test.curve.compliance,
        straight_N=read.straight,
        stiffness_N_per_mm=read.stiffness,
        predicted_stiffness_N_per_mm=stiffness,
        predicted_stiffness_band_N_per_mm=(low * stiffness, high * stiffness),
        scatter=scatter,
        elastic_scatter=elastic_scatter,
        stiffness_ratio=ratio,
        stiffness_ratio_band=(ratio / high, ratio / low),
        part_share=predicted.part_share,
        first_knee_N=knee,
        failure_N=failure,
        failure_seen=not test.stopped and (read.broke or test.failure is not None),
        predicted_failure_N=fails if failing else None,
        predicted_failure_band_N=band if comparable else (),
        predicted_mode=case.reserve.mode,
        predicted_singular=_decided_at_edge(case),
        first_knee_ratio=knee / fails if comparable and knee is not None else None,
        failure_ratio=failure / fails if comparable else None,
        mass_g=test.mass,
        predicted_mass_g=sum(body.mass_g for body in printed) if printed else None,
        print_time_h=test.print_time,
        predicted_print_time_h=sum(body.print.time_h for body in printed if body.print) if printed else None,
        stated=tuple(n.replace("_", " ") for n in ("first_knee", "failure") if getattr(test, n) is not None),
        notes=tuple(_notes(test, read, case)),
    )


def _refuse_apart(test: BenchTest, predicted: BenchPrediction, ratio: float) -> None:
    """Errors: InputError where curve and case cannot be of the same part."""
    where = f"bench.{test.name}"
    if not predicted.deflection > 0:
        told = f"in case {test.case} {test.place} moves {predicted.deflection:.3g} mm in the direction of the reading"
        raise InputError(
            f"{told}: it is opposite to the load, or the place does not move.",
            where=f"{where}.direction",
            advice="Turn the direction, or name the place that was read.",
        )
    off = max(ratio, 1 / ratio)
    if off < APART:
        return
    told = f"the measured stiffness is {ratio:.3g} times the predicted one"
    if SLIP[0] <= off <= SLIP[1]:
        units = "N for kN, or mm for µm" if ratio > 1 else "kN for N, or µm for mm"
        told += f": about a factor of 1000, such as {units} in the head of the curve"
    raise InputError(f"{told}.", where=f"{where}.curve", advice="Check the units of its columns, and the place read.")


def _stiffness_band(test: BenchTest, case: CaseFindings, scatter: float) -> tuple[float, float]:
    """Lowest and highest stiffness over the predicted one: the mesh's band of the motion, and twice the scatter."""
    key = f"faces.{test.face}.displacement_mm"
    key = key if key in case.bands else "maximum_displacement_mm"
    told, value = case.bands.get(key, ()), case.magnitudes[key]
    low, high = (told[0] / value, told[1] / value) if told and value > 0 else (1.0, 1.0)
    return 1 / (_spread(scatter) * high), _spread(scatter) / low


def _spread(scatter: float) -> float:
    """The factor of two standard deviations of what scatters lognormally by a coefficient of variation."""
    return math.exp(2 * math.sqrt(math.log1p(scatter**2)))


def _drawn(curve: MeasuredCurve, read: CurveReading) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """The corrected curve with few enough points; its largest load stays among them."""
    some = np.linspace(0, len(curve.load) - 1, min(len(curve.load), MOST_POINTS)).astype(int)
    some = np.unique([*some, int(curve.load.argmax())])
    return tuple(float(v) for v in curve.corrected[some] - read.toe), tuple(float(v) for v in curve.load[some])


def _decided_at_edge(case: CaseFindings) -> bool:
    """Whether the predicted failure is at the edge of a support or load, and not as near elsewhere."""
    least = case.reserve
    return least.singular and least.nonsingular_minimum > AT_EDGE * least.minimum


def _notes(test: BenchTest, read: CurveReading, case: CaseFindings) -> list[str]:
    out = []
    if test.stopped:
        out.append("The test was stopped before the part failed: its largest load is a bound from below.")
    elif not read.broke and test.failure is None:
        out.append(
            "The curve ends at its largest load without falling: that counts as a bound of failure from below. Write "
            "failure if the part broke there, stopped = true if it did not."
        )
    if not test.curve.compliance:
        out.append("No compliance of the machine was taken off: what it gives counts as the part's own.")
    if case.joints or any(each.push_only for each in case.foundations.values()):
        out.append("Faces bear and part in this case: the predicted line is that of the case's own load.")
    if case.reserve.decided_by != "homogenised":
        out.append(
            "Beads decide the predicted failure; how it follows the bond is taken from the homogenised answer."
        )
    if _decided_at_edge(case):
        out.append(
            "The predicted failure is at the edge of a support or load, where it falls without limit as the mesh "
            "gets finer: ratios of loads, and factors on strength, are of this mesh alone."
        )
    return out


def fitted(
    tests: Mapping[str, BenchFindings], predictions: Mapping[str, BenchPrediction], cards: Mapping[str, CardState]
) -> tuple[BenchFit, ...]:
    """For each printed body that was tested, the scales of stiffness and interlayer strength by least squares."""
    bodies = [body for body in dict.fromkeys(test.body for test in tests.values()) if body in cards]
    return tuple(
        _fit({k: t for k, t in tests.items() if t.body == body}, predictions, body, cards[body]) for body in bodies
    )


def _fit(
    tests: Mapping[str, BenchFindings], predictions: Mapping[str, BenchPrediction], body: str, card: CardState
) -> BenchFit:
    untold = []
    stiff = {k: t for k, t in tests.items() if t.part_share >= TELLS}
    stiffness: float | None = None
    stiffness_band: tuple[float, ...] = ()
    if stiff:
        stiffness, stiffness_band = _stiffness_scale(list(stiff.values()))
    else:
        untold.append("stiffness: what bends is hardly this body, but supports and bodies around it")
    if stiffness is not None and not stiffness_band:
        stiffness = None
        untold.append("stiffness: supports alone would give more than was measured")
    strong = {k: t for k, t in tests.items() if t.first_knee_ratio or (t.failure_ratio and t.failure_seen)}
    interlayer, interlayer_band, why = _interlayer_scale(strong, predictions)
    untold += [f"interlayer strength: {why}"] if why else []
    values = [] if stiffness is None else [f"E {_becomes(card.E, stiffness)}", f"G {_becomes(card.G, stiffness)}"]
    if interlayer is not None and card.tension and card.shear:
        values.append(f"tension in the build direction {_becomes(card.tension[2:], interlayer)}")
        values.append(f"shear 23 and 13 {_becomes(card.shear[:2], interlayer)}")
    return BenchFit(
        body,
        tuple(tests),
        stiffness,
        stiffness_band,
        interlayer,
        interlayer_band,
        tuple(untold),
        tuple(values),
        () if interlayer is None else tuple(_provided(strong)),
    )


def _provided(tests: Mapping[str, BenchFindings]) -> list[str]:
    """Tests whose predicted failure is not between layers, so that the break itself must show that theirs was, and
    those whose predicted failure moves with the mesh."""
    told = [
        f"{name}: the prediction fails by {test.predicted_mode}; that the bond was weaker holds only if layers "
        "parted where the part broke"
        for name, test in tests.items()
        if "interlayer" not in test.predicted_mode
    ]
    return told + [
        f"{name}: the prediction fails at the edge of a support or load, where it does not converge with the mesh; "
        "the factor on strength holds for this mesh alone"
        for name, test in tests.items()
        if test.predicted_singular
    ]


def _becomes(values: Sequence[float], scale: float) -> str:
    now, then = (" / ".join(f"{v * f:.4g}" for v in values) for f in (1.0, scale))
    return f"{now} → {then} MPa"


def _weight(band: tuple[float, ...], scatter: float) -> float:
    """One over the variance of the logarithm of a measured ratio, a band being two standard deviations either way.

    The card's scatter, which the band holds, is left out: it is the card's value that is asked for.
    """
    half = math.log(band[1] / band[0]) / 2 if band and band[0] > 0 else UNKNOWN
    own = math.log(_spread(scatter)) if band else 0.0
    return 1 / ((max(half - own, 0.0) / 2) ** 2 + MEASURED**2)


def _stiffness_scale(tests: Sequence[BenchFindings]) -> tuple[float, tuple[float, ...]]:
    """The factor on E and G. A deflection is that of the body, which falls as one over it, and that of what else
    gives: to first order, and exactly where the two are springs in a row.
    """
    weights = [_weight(t.predicted_stiffness_band_N_per_mm, t.elastic_scatter) for t in tests]

    def off(scale: float) -> list[float]:
        return [math.log(t.stiffness_ratio * (t.part_share / scale + 1 - t.part_share)) for t in tests]

    best = _least_squares(off, weights)
    slope = [(b - a) / 0.02 for a, b in zip(off(best * math.exp(-0.01)), off(best * math.exp(0.01)), strict=True)]
    inside = RANGE[0] * 1.01 < best < RANGE[1] * 0.99
    return best, _band(best, slope, off(best), weights) if inside else ()


def _interlayer_scale(
    tests: Mapping[str, BenchFindings], predictions: Mapping[str, BenchPrediction]
) -> tuple[float | None, tuple[float, ...], str]:
    """The factor on interlayer strengths, its band, and why there is none."""
    known = {k: t for k, t in tests.items() if len(predictions[k].interlayer)}
    if not known:
        return None, (), "the tests tell no load of failure that the prediction has, too"
    weights = [_weight(t.predicted_failure_band_N, t.scatter) for t in known.values()]

    def off(scale: float) -> list[float]:
        out = []
        for name, test in known.items():
            scales, factors = np.log(predictions[name].interlayer).T
            predicted = float(np.interp(math.log(scale), scales, factors))
            out.append(math.log(test.first_failure_N / (test.predicted_failure_N or 1.0)) - predicted)
        return out

    some = next(iter(known))
    low, high = float(predictions[some].interlayer[0, 0]), float(predictions[some].interlayer[-1, 0])
    best = _least_squares(off, weights, low=low, high=high)
    slope = [(b - a) / 0.1 for a, b in zip(off(best * math.exp(-0.05)), off(best * math.exp(0.05)), strict=True)]
    left = abs(sum(w * o for o, w in zip(off(best), weights, strict=True))) / math.sqrt(sum(weights))
    if max(abs(s) for s in slope) < TELLS or left > 3:
        if all(o > 0 for o in off(best)):
            return None, (), "the part bore more than any interlayer strength explains; another strength decides"
        return None, (), "what decides is not the bond between layers, which the tests did not reach"
    return best, _band(best, slope, off(best), weights), ""


def _least_squares(
    off: Callable[[float], list[float]], weights: Sequence[float], *, low: float = RANGE[0], high: float = RANGE[1]
) -> float:
    """The scale of the least weighted squares: a fine look at all of them, then closed in."""
    from scipy.optimize import minimize_scalar

    def cost(log_scale: float) -> float:
        return float(sum(w * o * o for w, o in zip(weights, off(math.exp(log_scale)), strict=True)))

    looks = np.linspace(math.log(low), math.log(high), 121)
    near = int(np.argmin([cost(look) for look in looks]))
    bounds = looks[max(near - 1, 0)], looks[min(near + 1, len(looks) - 1)]
    return math.exp(float(minimize_scalar(cost, bounds=bounds, method="bounded", options={"xatol": 1e-7}).x))


def _band(best: float, slope: Sequence[float], off: Sequence[float], weights: Sequence[float]) -> tuple[float, ...]:
    """Two standard errors either way; wider where tests contradict each other."""
    tells = sum(w * s * s for w, s in zip(weights, slope, strict=True))
    if not tells > 0:
        return ()
    chi = sum(w * o * o for w, o in zip(weights, off, strict=True)) / max(len(off) - 1, 1)
    error = 2 * math.sqrt(max(chi, 1.0) / tells)
    return best * math.exp(-error), best * math.exp(error)
