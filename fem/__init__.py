"""Beadwork: will this printed part bear its load, how stiff is it, and how should it be printed?

The public nouns and verbs, loaded when first used; `studies/PYTHON.md` tells each.

>>> from fem import Study, answer                               # doctest: +SKIP
>>> outcome = answer(Study.read("studies/wing_saddle.toml"))
>>> outcome.case("landing").reserve.minimum
"""

from __future__ import annotations

import importlib
from typing import Any

from fem.compiled import find_place_for_loops

find_place_for_loops()  # before any module that compiles

GROUPS: dict[str, dict[str, str]] = {
    "A study": {
        "Study": "fem.study.plans",
        "read_study": "fem.study.file",
        "BodyPlan": "fem.study.plans",
        "PrintKeys": "fem.printing.keys",
        "SupportPlan": "fem.loading.plan",
        "LoadPlan": "fem.loading.plan",
        "Requirements": "fem.judging.requirements",
        "Judging": "fem.study.plans",
        "quantity": "fem.units",
    },
    "Solve it": {
        "check": "fem.study.check:check_study",
        "Checked": "fem.study.check",
        "prepare": "fem.study.run",
        "answer": "fem.study.run",
        "run_study": "fem.study.run",
        "zoom": "fem.study.zoom",
        "tell": "fem.telling",
    },
    "Look at the answer": {
        "Outcome": "fem.study.outcome",
        "CaseOutcome": "fem.study.outcome",
        "CaseReserve": "fem.study.outcome",
        "ZoneOutcome": "fem.study.outcome",
        "Values": "fem.zooming.probe",
        "Findings": "fem.judging.findings",
        "read_findings": "fem.judging.findings",
        "Scene": "fem.judging.scene",
        "reserve_text": "fem.digits",
        "with_unit": "fem.digits",
    },
    "Choose how to print it": {
        "compare": "fem.study.variants.story:compare_study",
        "compare_study": "fem.study.variants.story",
        "Comparison": "fem.judging.choice",
        "VariantNumbers": "fem.judging.choice",
        "step_rows": "fem.telling.comparison.steps",
        "best_buy": "fem.telling.comparison.steps",
        "trades": "fem.telling.comparison.plots",
        "trade_figure": "fem.telling.comparison.plots",
        "orient": "fem.study.orientation.story:orient_study",
        "direction_words": "fem.judging.orientation",
        "review": "fem.study.review:review_study",
    },
    "Cards and prints": {
        "load_card": "fem.printing.polymer",
        "all_cards": "fem.printing.polymer",
        "PrintPlan": "fem.printing.plan",
        "PrintedField": "fem.printing.field",
        "PrintedBody": "fem.printing.body",
        "printed_body": "fem.printing.body",
        "metal_body": "fem.printing.body",
        "laminate_body": "fem.printing.body",
        "LaminateKeys": "fem.printing.keys",
        "printed_field": "fem.printing.mixing",
        "infill_cell": "fem.printing.infill",
    },
    "Own coupons": {
        "write_kit": "fem.coupons.kit",
        "make_card": "fem.study.own_card",
        "read_coupons": "fem.coupons.reading",
        "own_card": "fem.coupons.card_file",
        "OwnCard": "fem.coupons.card_file",
        "coupon_curves": "fem.telling.own_card.plots:curves_figure",
        "bench_figure": "fem.telling.review.bench",
        "bench_fit_lines": "fem.telling.review.bench:fit_lines",
    },
    "Solids, meshes and faces": {
        "Solid": "fem.part.solid",
        "read_solid": "fem.part.solid",
        "TetMesh": "fem.part.tetmesh",
        "mesh_solid": "fem.part.meshing",
        "FaceQuery": "fem.part.faces",
        "FaceGroup": "fem.part.faces",
        "name_faces": "fem.part.faces",
    },
    "Supports, loads, equilibrium": {
        "Held": "fem.loading.supports",
        "Foundation": "fem.loading.supports",
        "held_face": "fem.loading.supports",
        "spring_support": "fem.loading.supports",
        "force_load": "fem.loading.loads",
        "pressure_load": "fem.loading.loads",
        "wrench_load": "fem.loading.loads",
        "acceleration_load": "fem.loading.acceleration",
        "thermal_load": "fem.loading.temperature_change",
        "resultant": "fem.loading.loads",
        "Equilibrium": "fem.solving.equilibrium",
        "Solution": "fem.solving.equilibrium",
    },
    "Stress and strength": {
        "recover_stress": "fem.judging.stress",
        "StressField": "fem.judging.stress",
        "judge_reserve": "fem.judging.reserve",
        "ReserveField": "fem.judging.reserve",
        "Strength": "fem.criteria.strength",
        "WallBuckling": "fem.criteria.strength",
        "phase_reserve": "fem.criteria.reserve",
        "utilisation": "fem.criteria.reserve",
    },
    "Errors": {
        "BeadworkError": "fem.errors",
        "InputError": "fem.errors",
        "NotConverged": "fem.errors",
    },
}
"""Public names by what they are for, each with its module; after a colon stands its name there, if another."""

_HOMES = {name: home for group in GROUPS.values() for name, home in group.items()}

__all__ = sorted(_HOMES)


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        module, _, own = _HOMES[name].partition(":")
        return getattr(importlib.import_module(module), own or name)
    if name == "__version__":
        return importlib.import_module("fem.study.machine").program_version()
    raise AttributeError(f"module 'fem' has no attribute {name!r}")


def __dir__() -> list[str]:
    return [*globals(), *_HOMES, "__version__"]
