"""Bolts as rows of tables: how they were tightened, and what a case makes of them."""

from __future__ import annotations

from fem.digits import number
from fem.judging.findings import CaseFindings

HEAD = (
    "Bolt", "Tightened to [kN]", "Pull [kN]", "Change [kN]", "Shear [kN]", "Bending [N·m]", "Clamp left [kN]",
    "Stress [MPa]", "Yield over stress", "Under the head [MPa]", "Bears, for long [MPa]", "Head reserve",
    "Thread reserve",
)  # fmt: skip
EXPLAINED = (
    "Each bolt is tightened first, to the least and to the most that its scatter allows, then its length is locked "
    "and the case is applied. Pull, stress and the pressure under the head are those after the most, the clamp left "
    "is that after the least. What is borne under the head is that of the material itself, for a short time and for "
    "long; the head reserve is the lesser of the two. The clamp is the pressure of the parts on each other that is "
    "nearer to this bolt than to another. None of the reserves is a factor on the load."
)


def bolt_rows(case: CaseFindings) -> list[tuple[str, ...]]:
    """The rows under HEAD, one a bolt."""
    rows = []
    for name, bolt in case.bolts.items():
        held = number(bolt.thread_reserve) if bolt.thread_reserve is not None else bolt.held_by or "–"
        rows.append(
            (
                name,
                f"{_kilo(bolt.preload_low_N)} to {_kilo(bolt.preload_N)}",
                *(_kilo(v) for v in (bolt.force_N, bolt.change_N, bolt.shear_N, bolt.bending_Nmm)),
                "open" if bolt.open else _kilo(bolt.clamp_N),
                number(bolt.stress_MPa),
                number(bolt.reserve),
                number(bolt.head_pressure_MPa),
                f"{number(bolt.head_bears_MPa)}, {number(bolt.head_bears_long_MPa)}",
                number(bolt.head_reserve),
                held,
            )
        )
    return rows


def _kilo(value: float) -> str:
    """In thousands: N as kN, N mm as N m; what is nearly nothing reads 0."""
    return number(value / 1000 if abs(value) > 0.05 else 0.0)
