"""The page of a card from own coupons: what was measured, with its scatter, what stays an estimate, all curves."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from fem.coupons.batches import BatchFit
from fem.coupons.card_file import KEYS, OwnCard
from fem.coupons.fits import NAMES, CouponFit
from fem.coupons.fractile import Sample, tolerance_factor
from fem.coupons.values import STRAIN, Entry, OwnState, axis
from fem.digits import number
from fem.telling.blocks import Block, Cell, Heading, Items, Section, Text, Verdict, numbered, table
from fem.telling.own_card.plots import curves_figure
from fem.telling.review.document import Document
from fem.telling.review.to_html import write_html

KIND, ABOUT = "Material card", "own coupons, fitted"
LITTLE = 0.05
"""A band of the mean wider than this share is marked."""
STRONG = ("tension", "compression", "shear", "toughness")


def write_page(card: OwnCard, path: Path, *, date: datetime.date, program: str) -> Path:
    """Write the page, which opens from disk. Errors: BeadworkError when it would be too large."""
    sections = numbered((_values(card), *_cautions(card), *map(_batch, card.fits), _method(card)))
    title = f"Card {card.name}"
    return write_html(Document(title, date, "", program, sections, kind=KIND, about=ABOUT), path)


def _values(card: OwnCard) -> Section:
    """What stands on the card, state by state: measured first."""
    states = [state for state in card.states if any(e.sample for e in state.entries.values())]
    blocks: list[Block] = [_verdict(card, states)]
    for state in states:
        if len(states) > 1:
            blocks.append(Heading(state.name))
        blocks += _tables(card, state)
    others = [state.name for state in card.states if state not in states]
    if others:
        told = f"Nothing was measured in the state{'s' * (len(others) > 1)} {', '.join(others)}: all of it is scaled."
        blocks.append(Text(told, "soft"))
    blocks += [Text(check.words) for check in card.infill]
    return Section("values", "Values on the card", tuple(blocks))


def _verdict(card: OwnCard, states: list[OwnState]) -> Verdict:
    """How much of the card is one's own."""
    every = [entry for state in states for entry in state.entries.values()]
    own = sum(entry.measured for entry in every)
    coupons = sum(len(fit.batch.coupons) for fit in card.fits)
    sentences = [
        f"{coupons} coupons in {len(card.fits)} batches, tested {card.date}; what they do not tell comes from card "
        f"{card.base.name}, scaled by what they tell."
    ]
    if card.density is not None:
        sentences.append(f"Density {number(card.density.mean * 1e9)} g/cm³ from {card.density.n} coupons weighed.")
    word = f"{own} of {len(every)} values measured"
    return Verdict(word, "good" if own >= len(every) / 3 else "warn", tuple(sentences))


def _tables(card: OwnCard, state: OwnState) -> Iterator[Block]:
    base = card.base.states[state.name]
    places = [(key, i) for key in KEYS for i in range(3) if (key, i) in state.entries]
    own = [p for p in places if state.entries[p].sample is not None]
    rows = [_measured_row(p, state.entries[p], getattr(base, p[0])) for p in own]
    head = ("Value", "n", "Mean", "± (95 %)", "CoV", "Characteristic", "at 75 % confidence", "Over the other card")
    caption = (
        f"Measured, {state.name}, 23 °C. Characteristic: 5 % fractile by EN 1990, annex D7.2, variation unknown."
    )
    yield table(head, rows, align="lrrrrrrr", caption=caption)
    rows = []
    for key, i in (p for p in places if state.entries[p].sample is None):
        entry = state.entries[(key, i)]
        rows.append([f"{_key(key)} {axis(key, i)}", _told(key, entry.value), Cell(_why(entry), "soft")])
    caption = f"Estimates, {state.name}, 23 °C."
    yield table(("Value", "On the card", "Where from"), rows, align="lrl", caption=caption, small=True)
    if state.scatter is not None:
        yield Text(
            f"Scatter of the strengths on the card: {100 * state.scatter:.2g} % ({state.scatter_source}).", "soft"
        )


def _measured_row(place: tuple[str, int], entry: Entry, base: tuple[float, ...] | None) -> list[str | Cell]:
    key, i = place
    found = entry.sample
    assert found is not None
    share = None if found.half_band is None else found.half_band / found.mean
    strong = key in STRONG and found.characteristic is not None
    ratio = "" if base is None or key == "nu" else f"{number(found.mean / base[i], digits=2)} ×"
    return [
        Cell(f"{_key(key)} {axis(key, i)}{' (estimate)' if entry.doubt else ''}", "warn" if entry.doubt else ""),
        Cell(str(found.n), "" if found.n >= 3 else "warn"),
        _told(key, found.mean),
        Cell("not known", "warn") if share is None else Cell(_percent(share), "warn" if share > LITTLE else ""),
        "" if found.cov is None else _percent(found.cov),
        _told(key, found.characteristic) if strong and found.characteristic else "",
        _at_75(key, found) if strong else "",
        ratio,
    ]


def _at_75(key: str, found: Sample) -> str:
    """The fractile of EN 1990's other reading: 95 % of coupons above it, at a confidence of 75 %."""
    value = found.mean * (1 - tolerance_factor(found.n) * (found.cov or 0.0))
    return _told(key, value) if value > 0 else "none"


def _percent(share: float) -> str:
    return f"{number(100 * share, digits=2)} %"


def _told(key: str, value: float) -> str:
    """A value with its unit, as a page shows it."""
    if key in ("E", "G") and value >= 1000:
        return f"{number(value / 1000)} GPa"
    if key == "toughness":
        return f"{number(value / math.sqrt(1000))} MPa·m^0.5"
    if key == STRAIN:
        return f"{number(100 * value)} %"
    return number(value) if key == "nu" else f"{number(value)} MPa"


def _key(key: str) -> str:
    return key.replace("_", " ")


def _why(entry: Entry) -> str:
    return entry.source.removeprefix("estimate, ")


def _cautions(card: OwnCard) -> Iterator[Section]:
    if card.cautions:
        yield Section("cautions", "Cautions", (Items(tuple(c.text for c in card.cautions)),))


def _batch(fit: BatchFit) -> Section:
    """A batch: what it was, its curves, its coupons."""
    batch = fit.batch
    length = "span" if batch.test in ("bending", "notched") else "strain is path over"
    facts = [f"{length} {number(batch.length)} mm"]
    facts += [f"speed {batch.speed}"] * bool(batch.speed)
    facts += ["path read at the machine" if batch.by_crosshead else "path read at the coupon"]
    facts += [f"its stiffness of {number(batch.machine / 1000)} kN/mm taken off"] if batch.machine else []
    words = batch.words[:1].upper() + batch.words[1:]
    names = [name for name in NAMES if name in fit.samples]
    rows = [_coupon_row(one, names) for one in fit.fits]
    mean = [_shown(name, fit.samples[name].mean) for name in names]
    spread = [_spread(fit.samples[name]) for name in names]
    blank = [""] * 5
    rows += [["mean", "", *mean, *blank[1:]], ["CoV", "", *spread, *blank[1:]]] if len(rows) > 1 else []
    units = [f"{_short(name)}{f' [{NAMES[name][1]}]' if NAMES[name][1] else ''}" for name in names]
    units = [u.replace("strain at break", "strain at break [%]") for u in units]
    head = ("Coupon", "Section [mm]", *units, "Toe [%]", "Machine", "Readings in window", "Off the line [MPa]")
    told = "Toe: by how much strain the curve was moved. Machine: its share of the path in the window."
    caption = f"Coupons of batch {batch.name}. {told}"
    blocks: tuple[Block, ...] = (
        Text(f"{words}: {', '.join(facts)}."),
        curves_figure(fit),
        table(head, rows, caption=caption, small=True),
    )
    return Section(f"batch-{batch.name}", f"Batch {batch.name}", blocks)


def _short(name: str) -> str:
    return {"nu": "nu12", "G": "G12", "E": "E", "E45": "E at ±45"}.get(name, NAMES[name][0])


def _coupon_row(one: CouponFit, names: list[str]) -> list[str | Cell]:
    section = f"{number(one.coupon.width)} × {number(one.coupon.thickness)}"
    told = [_shown(name, one.gives[name]) if name in one.gives else "" for name in names]
    if one.line is None:
        return [one.coupon.name, section, *told, "", "", "", ""]
    return [
        one.coupon.name,
        section,
        *told,
        number(100 * one.line.zero, digits=2),
        _percent(one.machine_share) if one.machine_share else "none",
        str(one.line.points),
        number(float(np.sqrt(np.mean(one.line.residual**2))), digits=2),
    ]


def _shown(name: str, value: float) -> str:
    """A coupon's number in the unit of its column."""
    scale = {"break": 100.0, "toughness": 1 / math.sqrt(1000), "density": 1e9}.get(name, 1.0)
    return number(value * scale, digits=4 if name in ("E", "E45", "G") else 3)


def _spread(found: Sample) -> str:
    return "" if found.cov is None else _percent(found.cov)


def _method(card: OwnCard) -> Section:
    """How the numbers came about, in sentences."""
    items = (
        "The machine's own give, load over its stiffness, is taken off the path first where a stiffness is known.",
        "A toe moves the curve: the straight part, made longer, starts at zero strain (ASTM D638, annex A1).",
        "Modulus: least squares between 0.05 and 0.25 % strain (ISO 527-1, and alike in ISO 178 and ISO 604); G12: "
        "between 0.1 and 0.5 % shear strain of ±45 coupons (ISO 14129), or by lamination theory from their modulus.",
        "Strength: the greatest stress; pressed, that of the first peak; at ±45 half of it, up to 5 % shear strain.",
        "± (95 %): the band in which the true mean lies, 95 of 100 times (Student's t over the coupons). An error "
        "that all coupons share, such as a scale or a gauge length, is not in it.",
        "Characteristic: the next coupon lies above it with 95 %, the factor of EN 1990, table D1. At 75 % "
        "confidence: 95 % of all coupons lie above it, with that confidence (ISO 16269-6).",
        f"Not measured: the value of card {card.base.name}, times the nearest ratio that was measured.",
    )
    return Section("method", "How it was done", (Items(items),))
