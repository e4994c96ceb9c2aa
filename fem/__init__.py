"""Beadwork: will this printed part bear its load, how stiff is it, and how should it be printed?

The public nouns and verbs, loaded when first used:

>>> from fem import read_study, prepare, answer, tell          # doctest: +SKIP
>>> outcome = answer(prepare(read_study("studies/wing_saddle.toml")))
>>> outcome.findings.cases["landing"].reserve.minimum
"""

from __future__ import annotations

import importlib
from typing import Any

from fem.compiled import find_place_for_loops

find_place_for_loops()  # before any module that compiles

_HOMES = {
    "BeadworkError": "fem.errors",
    "InputError": "fem.errors",
    "NotConverged": "fem.errors",
    "quantity": "fem.units",
    "Solid": "fem.part.solid",
    "read_solid": "fem.part.solid",
    "TetMesh": "fem.part.tetmesh",
    "mesh_solid": "fem.part.meshing",
    "FaceQuery": "fem.part.faces",
    "name_faces": "fem.part.faces",
    "load_card": "fem.printing.polymer",
    "all_cards": "fem.printing.polymer",
    "PrintPlan": "fem.printing.plan",
    "PrintedField": "fem.printing.field",
    "PrintedBody": "fem.printing.body",
    "printed_body": "fem.printing.body",
    "metal_body": "fem.printing.body",
    "printed_field": "fem.printing.mixing",
    "infill_cell": "fem.printing.infill",
    "Equilibrium": "fem.solving.equilibrium",
    "Solution": "fem.solving.equilibrium",
    "recover_stress": "fem.judging.stress",
    "judge_reserve": "fem.judging.reserve",
    "Findings": "fem.judging.findings",
    "Scene": "fem.judging.scene",
    "tell": "fem.telling",
    "Study": "fem.study.plans",
    "read_study": "fem.study.file",
    "prepare": "fem.study.run",
    "answer": "fem.study.run",
    "run_study": "fem.study.run",
    "zoom": "fem.study.zoom",
    "compare_study": "fem.study.variants.story",
    "Comparison": "fem.judging.choice",
    "VariantNumbers": "fem.judging.choice",
}

__all__ = sorted(_HOMES)


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(importlib.import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'fem' has no attribute {name!r}")


def __dir__() -> list[str]:
    return [*globals(), *_HOMES]
