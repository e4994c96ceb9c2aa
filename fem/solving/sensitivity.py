"""How the answers change with the stiffness of the part: first derivatives, for one more solve of all loads.

With the stiffness of the bodies times f the matrix is f K + S, S being that of the foundations, which stay. So
(K + S) du/df = dr/df - K u at f = 1; the forces r of a load grow with f where warming makes them. Bodies share no
nodes: what is found at the nodes of a body is due to its own factor, and one right side a load serves them all. Where
joints couple bodies each factor has right sides of its own, and what a body's factor changes in others is left out.
Source: E. J. Haug, K. K. Choi and V. Komkov, Design Sensitivity Analysis of Structural Systems (1986), section 1.2.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fem.loading.loads import Load
from fem.solving.cases import SolvedCases
from fem.solving.equilibrium import Equilibrium
from fem.tensors import Array

DERIVATIVE_TOLERANCE = 1e-4
"""Residual over the right side at which a derivative is good enough. In the demonstration it puts no stress off by
more than 4e-5 of the largest for a unit change of stiffness; what the first order leaves out is 1e-4 for one of 10 %.
"""


def stiffness_change(
    equilibrium: Equilibrium, solved: SolvedCases, loads: Mapping[str, Load]
) -> dict[str, Array] | None:
    """Change of each unit load's displacement (n, 3) [mm] for a unit change of the factor on its body's stiffness.

    None where it is the displacement itself, taken away: supports that give way nowhere, no joints, and forces alone.
    Errors: NotConverged.
    """
    names = list(solved.units)
    driven = any(loads[k].displacement is not None or loads[k].temperature_change is not None for k in names)
    if not driven and not equilibrium.foundations and equilibrium.joined is None:
        return None
    right, guess = [], []
    for name in names:
        load, unit = loads[name], solved.units[name]
        warms = load.temperature_change is not None
        right.append((load.forces if warms else 0.0) - equilibrium.elastic_forces(unit))
        # What forces move shrinks as the part grows stiffer, but for what foundations give; the rest hardly moves
        guess.append(np.zeros_like(unit) if warms or load.displacement is not None else -unit)
    if equilibrium.joined is not None:
        return dict(zip(names, _of_own_factor(equilibrium, solved, np.array(right)), strict=True))
    contact, begin = solved.contact, np.array(guess)
    found, _ = equilibrium.solve(np.array(right), tolerance=DERIVATIVE_TOLERANCE, contact=contact, guess=begin)
    return dict(zip(names, found, strict=True))


def _of_own_factor(equilibrium: Equilibrium, solved: SolvedCases, right: Array) -> Array:
    """What each body's own factor changes in it (k, n, 3) [mm], body by body, from the right sides of all."""
    out = np.zeros_like(right)
    for body in range(len(equilibrium.mesh.bodies)):
        own = (equilibrium.mesh.node_body == body)[None, :, None]
        found, _ = equilibrium.solve(own * right, tolerance=DERIVATIVE_TOLERANCE, contact=solved.contact)
        out += own * found
    return out
