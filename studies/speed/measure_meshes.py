"""Whether a study says the same on every mesh: the least reserve of each case, homogenised, and where it lies.

    python studies/speed/measure_meshes.py studies/wing_saddle.toml 8 6 4.5 3.4 2.5 accuracy

Each number is a mesh size in mm (a third of it is the finest edge), for all bodies; "accuracy" lets the program
choose the mesh for 5 %, from the study's own sizes. Beads are not asked.
"""

from __future__ import annotations

import sys
import time
from typing import Any

from fem.judging.findings import Findings
from fem.study.file import read_study
from fem.study.run import answer, prepare


def changes(study: Any, mesh: str) -> dict[str, Any]:
    """What makes a study one of this mesh."""
    out: dict[str, Any] = {"judge.zoom": 0, "judge.whole": False}
    for name in study.bodies:
        own = dict(study.tree["bodies"][name].get("mesh", {}))
        size = {"size": f"{mesh} mm", "finest": f"{float(mesh) / 3:.4g} mm"} if mesh != "accuracy" else own
        out[f"bodies.{name}.mesh"] = size | {"accuracy": "5 %"} if mesh == "accuracy" else size
    return out


def row(mesh: str, findings: Findings, seconds: float) -> str:
    """One line of the table."""
    cells = [mesh, f"{findings.mesh.unknowns:,}"]
    for case in findings.cases.values():
        band = case.reserve.band
        told = f" ({band[0]:.3g} to {band[1]:.3g})" if band else ""
        cells.append(f"{case.reserve.minimum:.3f}{told} {case.reserve.zone}")
    return "| " + " | ".join([*cells, f"{seconds:.0f}"]) + " |"


def main(path: str, meshes: list[str]) -> None:
    study = read_study(path)
    head = ["mesh [mm]", "unknowns", *study.cases, "seconds"]
    print("| " + " | ".join(head) + " |", "| " + " | ".join("---" for _ in head) + " |", sep="\n", flush=True)
    for mesh in meshes:
        start = time.perf_counter()
        findings = answer(prepare(study.with_(changes(study, mesh)))).findings
        print(row(mesh, findings, time.perf_counter() - start), flush=True)
        if findings.trust.get("stopped_by"):
            print(f"stopped by {findings.trust['stopped_by']}: {findings.trust['passes']}", file=sys.stderr)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2:])
