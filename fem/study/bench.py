"""What is predicted of the tests on the bench, while a case's solution is at hand; and their findings."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from fem.errors import InputError
from fem.judging.answers import Answer, unit_wrenches
from fem.judging.bench import BenchPrediction, BenchTest, bench_findings, fitted
from fem.judging.findings import Findings
from fem.judging.interlayer_scale import reserve_by_interlayer
from fem.judging.recovered import RecoveredStress
from fem.loading.case import LoadCase
from fem.loading.loads import resultant
from fem.solving.cases import SolvedCases
from fem.solving.equilibrium import Equilibrium
from fem.solving.sensitivity import stiffness_change
from fem.study.shared_mesh import Prepared
from fem.tensors import Array, unit


def bench_predictions(
    ready: Prepared, equilibrium: Equilibrium, recovered: RecoveredStress, answers: Mapping[str, Answer]
) -> dict[str, BenchPrediction]:
    """What is predicted of each test whose case was solved here; none for variants, which nobody has tested.

    Errors: InputError for a load without a resultant; NotConverged.
    """
    if ready.study.variant:
        return {}
    solved = recovered.solved
    asked = {test.case for test in ready.study.bench.values()}
    changes = None
    if asked & {case.name for case in solved.cases}:
        loads = {k: load for case in solved.cases for k, load in case.loads.items()}
        changes = stiffness_change(equilibrium, solved, loads)
    out: dict[str, BenchPrediction] = {}
    for case in solved.cases:
        tests = [test for test in ready.study.bench.values() if test.case == case.name]
        scales = reserve_by_interlayer(case, recovered) if tests and answers else np.zeros((0, 2))
        out |= {test.name: _prediction(ready, test, case, solved, changes, scales) for test in tests}
    return out


def _prediction(
    ready: Prepared,
    test: BenchTest,
    case: LoadCase,
    solved: SolvedCases,
    changes: Mapping[str, Array] | None,
    scales: Array,
) -> BenchPrediction:
    mesh, where = ready.mesh, f"{ready.study.path}: bench.{test.name}"
    names = (test.load,) if test.load else case.growing
    force, _ = resultant(mesh, case.combined(names, {k: case.loads[k].forces for k in names}))
    size = float(np.linalg.norm(force))
    if not set(names) <= set(case.growing) or size < 1e-9 * max(_pushes(case, names), 1e-300):
        told = f"load {test.load}" if test.load else f"case {case.name}"
        raise InputError(
            f"{told} has no growing force that a tester could read.",
            where=f"{where}.load",
            advice="Name a load of the case with a force.",
        )
    direction = unit(force if test.direction is None else test.direction)
    where_read, body = _reading(ready, test)
    moved = where_read(case.combined(case.growing, solved.units)) @ direction
    change = -moved if changes is None else where_read(case.combined(case.growing, changes)) @ direction
    share = float(-change / moved) if moved else 0.0
    return BenchPrediction(size, float(moved), tuple(float(v) for v in direction), body, share, scales)


def _pushes(case: LoadCase, names: tuple[str, ...]) -> float:
    return float(sum(np.linalg.norm(case.factors[k] * case.loads[k].forces, axis=1).sum() for k in names))


def _reading(ready: Prepared, test: BenchTest) -> tuple[Callable[[Array], Array], str]:
    """What takes a displacement field (n, 3) to that of the place (3,), and the body that the place is of."""
    mesh = ready.mesh
    if test.face:
        group = ready.groups[test.face]
        weights = unit_wrenches(mesh, group)[:3]
        body = mesh.bodies[mesh.node_body[mesh.triangles[group.triangles[0], 0]]]
        return (lambda u: np.einsum("kni,ni->k", weights, u)), body
    at = np.asarray(ready.study.points[test.point])
    node = int(np.linalg.norm(mesh.nodes - at, axis=1).argmin())
    return (lambda u: u[node]), mesh.bodies[mesh.node_body[node]]


def with_bench(ready: Prepared, findings: Findings, predictions: Mapping[str, BenchPrediction]) -> Findings:
    """The findings with the tests of the study beside their predictions.

    Errors: InputError where a curve cannot be of the part that was computed.
    """
    cards = {name: body.values for name, body in ready.made.items() if body.plan is not None and body.values}
    made = {name: body.values for name, body in ready.made.items() if body.values}
    tests = {}
    for name, predicted in predictions.items():
        test = ready.study.bench[name]
        try:
            tests[name] = bench_findings(
                test,
                predicted,
                case=findings.cases[test.case],
                bodies=findings.bodies,
                scatter=made[predicted.body].scatter or 0.0,
                elastic_scatter=made[predicted.body].stiffness_scatter,
            )
        except InputError as error:
            raise error.inside(str(ready.study.path)) from None
    return replace(findings, bench=tests, bench_fit=fitted(tests, predictions, cards))
