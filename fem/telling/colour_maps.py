"""One perceptually even colour map at a time, read from cmcrameri's own tables.

Its module `cm` loads all its maps, and matplotlib's figures with them, which takes half a second in each process that
draws.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np


@cache
def colour_map(name: str) -> Any:
    """The matplotlib map of a name of cmcrameri's; "_r" at its end turns it round. Errors: OSError for none."""
    from importlib.util import find_spec

    from matplotlib.colors import ListedColormap

    spec = find_spec("cmcrameri")
    places = spec.submodule_search_locations if spec is not None else None
    if not places:
        raise ModuleNotFoundError("cmcrameri is not installed")
    table = np.loadtxt(Path(next(iter(places))) / "cmaps" / f"{name.removesuffix('_r')}.txt")
    return ListedColormap(table[::-1] if name.endswith("_r") else table, name=name)
