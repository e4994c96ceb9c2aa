"""comparison.html: variants to sort and filter, the effect of each step, the Pareto fronts, the one to print."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from fem.digits import number, reserve_text
from fem.judging.cautions import STANDING, texts_of
from fem.judging.choice import Comparison, VariantNumbers, leading_number
from fem.judging.choosing import candidates_of, level_with
from fem.telling import words
from fem.telling.comparison.plots import Trade, label_of, trade_figure, trades
from fem.telling.comparison.portraits import pictures_of
from fem.telling.comparison.steps import best_buy, step_rows
from fem.telling.comparison.tables import failed_table, plain_setting, plot_table, short_names, steps_table
from fem.telling.environment import template
from fem.telling.files import write_text
from fem.telling.hand import hand_head
from fem.telling.vector import inline_svg
from fem.telling.zoom_words import band_text, leaders_line

MOST_LEVEL = 8
"""So many variants at most are listed that one is level with."""
RATIOS = ("mass", "stiffness", "reserve", "cost")


def write_comparison(comparison: Comparison, *, folder: Path, pictures: bool = True) -> Path:
    """Write comparison.html into `folder` and return its path; the page asks for nothing outside itself.

    It shows the `pictures` of variants that lie in the folder, or says that none were asked for.
    """
    drawn = pictures_of(comparison, folder) if pictures else []
    return write_text(as_page(comparison, pictures=drawn, left_out=not pictures), folder / "comparison.html")


def as_page(comparison: Comparison, *, pictures: Sequence[Mapping[str, Any]] = (), left_out: bool = False) -> str:
    """The page as text, with pictures of some variants; it says where they were `left_out`."""
    from markupsafe import Markup

    page = template(
        "comparison.html",
        scripts=("tables.js",),
        number=_number,
        reserve=_reserve,
        sorted_as=sort_value,
        plain=plain_setting,
        leading=_leading,
    )
    names = short_names([*comparison.sweep, *(k for v in comparison.variants for k in v.settings)])
    rows = [variant_row(comparison, i, v) for i, v in enumerate(comparison.variants, start=1)]
    faces = list(dict.fromkeys(f for v in comparison.variants for f in v.rotation_deg))
    steps = step_rows(comparison)
    text: str = page.render(
        c=comparison,
        rows=rows,
        names=names,
        swept={key: values for key, values in comparison.sweep.items() if len(values) > 1},
        faces=faces,
        ratios=[r for r in RATIOS if any(r in each for each in comparison.ratios.values())],
        pictures=pictures,
        hand_head=Markup(hand_head()) if any(p["hand"] for p in pictures) else "",
        left_out=left_out,
        plots=[_plot(comparison, trade) for trade in trades(comparison)],
        steps=steps_table(comparison, steps) if steps else None,
        bought=best_buy(steps),
        missed=missed_counts(comparison),
        failed=failed_table(comparison) if any(not v.answered for v in comparison.variants) else None,
        answered=sum(v.answered for v in comparison.variants),
        printable=len(candidates_of(comparison.variants)),
        verdict="holds" if comparison.best else "short",
        decisive=[c for c in comparison.decisive if c.text != comparison.reason],
        noun="printed variant" if comparison.printed else "variant",
        cautions=dict.fromkeys((*comparison.cautions, *texts_of(STANDING))),
        cost_head=f"Cost [{words.money(comparison.currency)}]",
        beads=leaders_line(comparison) if comparison.printed else "",
        bands=any(v.has_band for v in comparison.variants),
        singular=any(v.singular for v in comparison.variants),
        any_cost=any(v.cost is not None for v in comparison.variants),
    )
    return text


def _leading(text: str) -> str:
    """What a setting sorts by: its number, or its text where it has none."""
    value = leading_number(text)
    return plain_setting(text) if value is None else repr(value)


def variant_row(comparison: Comparison, place: int, v: VariantNumbers) -> dict[str, Any]:
    """What a row of the table shows of a variant beyond its own numbers."""
    fronts = [name for name, members in comparison.fronts.items() if v.name in members]
    enough = comparison.reserve_asked or (v.reserve is not None and v.reserve >= comparison.required_reserve)
    marks = [best_word(comparison)] if v.name == comparison.best else []
    marks += ["reference part"] if v.reference else []
    marks += [f"Pareto-optimal in mass and {' and in mass and '.join(fronts)}"] if fronts else []
    kind = "best" if v.name == comparison.best else "reference" if v.reference else ""
    own = {k: t for k, t in v.settings.items() if k not in comparison.sweep}
    return {
        "n": place,
        "v": v,
        "fronts": fronts,
        "marks": marks,
        "kind": kind,
        "meets": v.answered and not v.missed and enough,
        "own": own,
        "ratios": comparison.ratios.get(v.name, {}),
        "band": band_text(v.band),
        "band_away": band_text(v.band_away),
        "level": level_text(comparison, v),
    }


def level_text(comparison: Comparison, v: VariantNumbers) -> str:
    """The numbers in the table of those that a variant is level with in reserve."""
    place = {each.name: i for i, each in enumerate(comparison.variants, start=1)}
    numbers = [place[name] for name in level_with(comparison.variants, v)]
    more = f" and {len(numbers) - MOST_LEVEL} more" if len(numbers) > MOST_LEVEL else ""
    return ", ".join(map(str, numbers[:MOST_LEVEL])) + more


def best_word(comparison: Comparison) -> str:
    """What the chosen variant is called."""
    return f"the one to {'print' if comparison.printed else 'take'}"


def missed_counts(comparison: Comparison) -> list[tuple[str, int]]:
    """How many of the variants to choose from miss each requirement; most missed first."""
    names = Counter(requirement_name(text) for v in candidates_of(comparison.variants) for text in v.missed)
    return names.most_common()


def requirement_name(text: str) -> str:
    """The requirement that "mass 231 g, at most 220 g allowed" is about: the words before the first number."""
    kept = []
    for word in text.replace(",", " ").replace(":", " ").split():
        if word[0].isdigit() or word in ("is", "unlimited"):
            break
        kept.append(word)
    return " ".join(kept) or text


def _plot(comparison: Comparison, trade: Trade) -> dict[str, Any]:
    from markupsafe import Markup

    figure, tips = trade_figure(comparison, trade)
    told = label_of(comparison, trade)
    svg = Markup(inline_svg(figure, prefix=trade.key, label=told, tips=tips))
    return {"svg": svg, "told": label_of(comparison, trade, short=True), "table": plot_table(comparison, trade)}


def sort_value(value: float | None) -> str:
    """A number as the table's script sorts it: "" for none, "inf" for unlimited."""
    if value is None or math.isnan(value):
        return ""
    return "inf" if math.isinf(value) else repr(float(value))


def _number(value: float | None, digits: int = 3) -> str:
    return "–" if value is None else number(value, digits=digits)


def _reserve(value: float | None) -> str:
    return "–" if value is None else reserve_text(value)
