"""Threaded inserts and screws in a polymer: the pull at which they come out, from a test or as a flagged estimate."""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from fem.errors import InputError, nearest, shown
from fem.units import quantity

PULL_OUTS = Path(__file__).parent / "pull_out.toml"


@dataclass(frozen=True)
class PullOut:
    """`force` [N] at which a fastener of a `kind` comes out; `source` says from what, `estimate` whether it was not
    measured.

    Errors: InputError for a force that is not positive.
    """

    kind: str
    force: float
    source: str
    estimate: bool

    def __post_init__(self) -> None:
        if not 0 < self.force < math.inf:
            raise InputError("a pull-out strength must be positive.")

    def reserve(self, pull: float) -> float:
        """How many times a `pull` [N] it bears."""
        return self.force / pull if pull > 0 else math.inf


def pull_out_kinds() -> tuple[str, ...]:
    """What may be screwed into a polymer."""
    return tuple(_table()["kinds"])


def measured_pull_out(kind: str, *, size: str, host: str) -> PullOut:
    """A published test of a fastener of this kind and size ("M8") in a polymer (`host`). Errors: InputError when
    there is none."""
    _known(kind)
    for test in _table()["measured"]:
        if (test["kind"], test["size"], test["host"]) == (kind, size, host):
            return PullOut(kind, quantity(test["pull_out"], "force"), test["source"], estimate=False)
    there = "; ".join(f"{t['kind']} {t['size']} in {t['host']}" for t in _table()["measured"])
    raise InputError(f"no test of a {kind} {size} in {host} is known.", advice=f"Known: {there}.")


def estimated_pull_out(kind: str, *, diameter: float, length: float, shear_strength: float) -> PullOut:
    """What a fastener of outer `diameter` over `length` [mm] is thought to bear in a polymer of `shear_strength`
    [MPa] on planes along the hole: for a hole up the build that of the layers (13 or 23).

    Errors: InputError for an unknown kind, or sizes that are not positive.
    """
    _known(kind)
    if not min(diameter, length, shear_strength) > 0:
        raise InputError("a pull-out needs a diameter, a length and a shear strength above zero.")
    entry = _table()["kinds"][kind]
    force = entry["efficiency"] * shear_strength * math.pi * diameter * length
    return PullOut(kind, force, entry["source"], estimate=True)


def _known(kind: str) -> None:
    if kind not in pull_out_kinds():
        raise InputError(f"nothing is known of a {shown(kind)}.", advice=nearest(kind, pull_out_kinds()))


@cache
def _table() -> dict[str, Any]:
    return tomllib.loads(PULL_OUTS.read_text(encoding="utf-8"))
