"""All joints of a study as the solvers see them."""

from __future__ import annotations

from dataclasses import dataclass

from fem.joining.law import PointLaw
from fem.solving.links import Links
from fem.solving.ties import Ties


@dataclass(frozen=True)
class Joined:
    """The `links` at which faces meet, the `law` by which they do, and the `ties` of bolts."""

    links: Links
    law: PointLaw
    ties: Ties | None = None
