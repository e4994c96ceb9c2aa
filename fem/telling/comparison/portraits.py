"""Pictures of a few variants for the comparison's page: the reserve factor on the surface, the least of all cases."""

from __future__ import annotations

import base64
import io
from pathlib import Path
from typing import Any

from fem.judging.choice import Comparison
from fem.judging.findings import Findings
from fem.judging.scene import Scene

MOST_DRAWN = 6
"""So many variants at most have a picture: the named one, then those of the fronts."""
WIDTH = 900
"""Pixels across a picture inside the page."""


def to_draw(comparison: Comparison) -> tuple[str, ...]:
    """The variants whose pictures the page shows: the one to print first, then the Pareto-optimal ones."""
    names = [comparison.best] if comparison.best else []
    names += [name for front in reversed(comparison.fronts.values()) for name in front]
    return tuple(dict.fromkeys(names))[:MOST_DRAWN]


def portrait_of(comparison: Comparison, name: str) -> str:
    """Where the picture of a variant lies: beside its findings, named by the reserve factor that its scale marks."""
    mark = f"{comparison.required_reserve:g}" if comparison.reserve_asked else "target"
    return f"{comparison[name].findings_file.removesuffix('.json')}-at-{mark}.png"


def draw_portrait(findings: Findings, scene: Scene, *, file: Path) -> Path:
    """Draw one variant's picture into `file`, by way of a file beside it."""
    from fem.telling.pictures import draw_least_reserve

    half = file.with_suffix(".part")
    half.mkdir(exist_ok=True)
    made = half / draw_least_reserve(findings, scene, folder=half).file
    made.replace(file)
    half.rmdir()
    return file


def pictures_of(comparison: Comparison, folder: Path) -> list[dict[str, Any]]:
    """What the page shows of each variant that was drawn; the one to print first."""
    place = {v.name: i for i, v in enumerate(comparison.variants, start=1)}
    out = []
    for name in to_draw(comparison):
        data = _embedded(folder / portrait_of(comparison, name))
        if data:
            told = f"Reserve factor on the surface of {name}, the least of all cases"
            out.append(
                {
                    "n": place[name],
                    "name": name,
                    "data": data,
                    "alt": told,
                    "caption": f"{told}, homogenised.",
                }
            )
    return out


def _embedded(file: Path) -> str:
    """A picture as a data address; "" where there is none that can be read."""
    from PIL import Image

    try:
        image = Image.open(file).convert("RGB")
    except OSError:
        return ""
    image = image.resize((WIDTH, round(image.height * WIDTH / image.width)), Image.Resampling.LANCZOS)
    out = io.BytesIO()
    image.save(out, format="JPEG", quality=82, optimize=True)
    return f"data:image/jpeg;base64,{base64.b64encode(out.getvalue()).decode()}"
