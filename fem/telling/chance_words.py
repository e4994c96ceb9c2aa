"""The chance of a reserve factor, told with its error and with what matters most."""

from __future__ import annotations

from collections.abc import Iterator

from fem.digits import chance_text, number
from fem.judging.findings import Findings, Reserve
from fem.judging.verdict import verdict_of

CHANCE_EXPLAINED = (
    "Chances hold for strengths and stiffness that scatter lognormally by the card's coefficient of variation "
    "(that of the strengths for stiffness, too, where the card gives no other), for normally distributed loads, "
    "and within the numerical band. A chance of failure below 0.001 depends on these distributions more than on the "
    "part: local codes and a qualified engineer say what is safe enough."
)


def chance_line(reserve: Reserve, required: float) -> str:
    """The chances of one case and the inputs that matter most; "" where none is known."""
    if reserve.chance_above_1 is None:
        return ""
    told = (
        f"chance of a reserve factor of at least 1: {chance_text(reserve.chance_above_1, reserve.chance_errors[0])}"
    )
    if reserve.chance_met is not None and required != 1:
        told += f"; of at least {number(required)}: {chance_text(reserve.chance_met, reserve.chance_errors[1])}"
    if not reserve.chance_inputs:
        return told
    shares = ", ".join(f"{i.name} {100 * i.share:.0f} %" for i in reserve.chance_inputs)
    return f"{told}. Shares in its variance: {shares}"


def chance_lines(findings: Findings) -> Iterator[str]:
    """A line for each case whose chance is known."""
    required = verdict_of(findings).required
    for name, case in findings.cases.items():
        line = chance_line(case.reserve, required)
        if line:
            yield f"Case {name}, {line}."
