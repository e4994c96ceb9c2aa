"""The card of one's own coupons: made over another card, written as a file that the program reads."""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from fem.caution import Caution
from fem.coupons.batches import BatchFit, fit_batch
from fem.coupons.fractile import Sample
from fem.coupons.infill import InfillCheck, check_infill
from fem.coupons.nouns import CouponTests
from fem.coupons.values import (
    NEAR,
    OUTRANKED,
    PAIRS,
    SHEARS,
    STRAIN,
    STRENGTHS,
    OwnState,
    Place,
    Ratios,
    axis,
    number_text,
    own_state,
    ratios,
    samples_of,
    together,
)
from fem.errors import CardError, Faults, InputError
from fem.printing.card.nouns import ROOM_TEMPERATURE, Card
from fem.printing.polymer import load_card

APART_TESTS = 0.15
"""Moduli in tension, compression and bending that differ by this share are told (common practice: within a tenth)."""
APART_ORDER = 0.05
"""No print is stiffer or stronger up the build than along the beads, but for scatter of this share."""
KEYS = ("E", "nu", "G", "tension", "compression", "shear", "toughness", STRAIN)


@dataclass(frozen=True)
class OwnCard:
    """What tests of coupons say of a material.

    The batches' `fits`, the `states` of the card, its `density` where coupons were weighed, all `cautions`, blocks of
    `infill` beside their cells; `base` is the card that it is made over, by `base_name` as a file would name it.
    """

    name: str
    base: Card
    base_name: str
    date: str
    fits: tuple[BatchFit, ...]
    states: tuple[OwnState, ...]
    density: Sample | None
    cautions: tuple[Caution, ...]
    infill: tuple[InfillCheck, ...] = ()


def own_card(tests: CouponTests, *, name: str, base: str | None = None, characteristic: bool = False) -> OwnCard:
    """Fits all batches of the tests and puts their numbers into the states of a card.

    `base` is another card than the tests name; `characteristic` writes characteristic strengths instead of means.
    Errors: InputError that tells what is wrong, batch by batch; CardError for a card that cannot be a base.
    """
    base_name = base or tests.base
    card = load_card(base_name)
    if card.kind != "polymer":
        raise CardError(f"{card.name} is a {card.kind}; coupons of a print need a polymer's card.", where="from")
    faults = Faults()
    for batch in tests.batches:
        if batch.state not in card.states:
            told = f'card {card.name} has no state "{batch.state}".'
            where, advice = f"batch.{batch.name}: state", f"It has: {', '.join(card.states)}."
            faults.found.append(InputError(told, where=where, advice=advice))
    faults.refuse()
    tried = [faults.of(fit_batch, batch, card.states[batch.state]) for batch in tests.batches]
    faults.refuse()
    fits = tuple(fit for fit in tried if fit is not None)
    states = _states(fits, card, tests.date, characteristic)
    solid = [fit for fit in fits if "density" in fit.samples and fit.batch.test != "infill"]
    weighed = [v for fit in solid for v in fit.samples["density"].values]
    density = Sample(tuple(weighed)) if weighed else None
    cautions = (
        *tests.cautions,
        *(c for fit in fits for c in fit.cautions),
        *_warm(fits),
        *_other_tests(fits),
        *_weight(density, card),
        *(c for state in states for c in _order(state)),
        *(c for state in states if characteristic for c in _means(state)),
    )
    bulk = card.density if density is None else density.mean
    by_name = {state.name: state for state in states}
    blocks = [fit for fit in fits if fit.batch.infill is not None]
    infill = tuple(check_infill(fit, by_name[fit.batch.state], density=bulk) for fit in blocks)
    return OwnCard(name, card, base_name, tests.date, fits, states, density, cautions, infill)


def _states(fits: Sequence[BatchFit], card: Card, date: str, characteristic: bool) -> tuple[OwnState, ...]:
    """Every state of the card, measured or not."""
    samples = {name: samples_of(fits, name, state) for name, state in card.states.items()}
    if not any(samples.values()):
        raise InputError(
            f"nothing that a card holds was measured near {ROOM_TEMPERATURE:g} degC.",
            advice="A card's values hold at 23 degC: test there.",
        )
    scales = {name: ratios(samples[name], card.states[name]) for name in samples if samples[name]}
    whole = together(list(scales.values())).by_place
    made = []
    for name, state in card.states.items():
        scale = Ratios({**whole, **(scales[name].by_place if name in scales else {})})
        made.append(
            own_state(state, samples[name], scale, date=date, base_name=card.name, characteristic=characteristic)
        )
    return tuple(made)


def _warm(fits: Sequence[BatchFit]) -> list[Caution]:
    """What was tested too far from 23 degC to stand on the card."""
    return [
        Caution(
            "coupons",
            f"Batch {fit.batch.name} was tested at {fit.batch.temperature:g} °C: fitted and shown, but not on the "
            f"card, whose values hold at {ROOM_TEMPERATURE:g} °C.",
        )
        for fit in fits
        if abs(fit.batch.temperature - ROOM_TEMPERATURE) > NEAR
    ]


def _other_tests(fits: Sequence[BatchFit]) -> list[Caution]:
    """Tests of one direction and state that give moduli too far apart to be of one material."""
    out: list[Caution] = []
    first: dict[tuple[str, str], tuple[str, float]] = {}
    for fit in sorted(fits, key=lambda f: OUTRANKED.index(f.batch.test) if f.batch.test in OUTRANKED else 9):
        batch = fit.batch
        if "E" not in fit.samples or batch.test not in OUTRANKED or abs(batch.temperature - ROOM_TEMPERATURE) > NEAR:
            continue
        name, E = first.setdefault((batch.direction, batch.state), (batch.name, fit.samples["E"].mean))
        if abs(fit.samples["E"].mean / E - 1) > APART_TESTS:
            text = (
                f"Batch {batch.name} has {fit.samples['E'].mean / E:.2g} times the modulus of batch {name}, which "
                "stands on the card: check how path and section were read in both."
            )
            out.append(Caution("coupons", text))
    return out


def _order(state: OwnState) -> list[Caution]:
    """What is measured stiffer or stronger up the build than along the beads."""
    out = []
    for key in ("E", "tension"):
        along, up = state.entries[(key, 0)], state.entries[(key, 2)]
        if (
            along.sample is not None
            and up.sample is not None
            and up.sample.mean > (1 + APART_ORDER) * along.sample.mean
        ):
            times = up.sample.mean / along.sample.mean
            text = (
                f"In state {state.name}, {key} up the build is {times:.3g} times that along the beads, which no "
                "print has: check which coupons are which."
            )
            out.append(Caution("coupons", text))
    return out


def _means(state: OwnState) -> list[Caution]:
    """Strengths whose mean stands although characteristic ones were asked for."""
    measured = {p: e.sample for p, e in state.entries.items() if p[0] in STRENGTHS and e.sample is not None}
    without = [f"{p[0]} {axis(*p)}" for p, found in measured.items() if found.characteristic is None]
    if not measured:
        return []
    texts = [
        f"In state {state.name}, strengths that were not measured are scaled by means, not characteristic values."
    ]
    if without:
        told = "fewer than three coupons, or too much scatter"
        texts.append(
            f"In state {state.name}, {', '.join(without)}: no characteristic value ({told}); the mean stands."
        )
    return [Caution("coupons", text) for text in texts]


def _weight(density: Sample | None, card: Card) -> list[Caution]:
    if density is None or abs(density.mean / card.density - 1) < 0.15:
        return []
    text = (
        f"The coupons weigh {density.mean * 1e9:.3g} g/cm³, card {card.name} says {card.density * 1e9:.3g}: voids, "
        "another material, or a coupon of another shape."
    )
    return [Caution("coupons", text)]


def card_text(card: OwnCard, *, base: str) -> str:
    """The card as TOML, made `from` the card named or filed under `base`."""
    head = [
        "# Made by `beadwork card` from own coupons; every value says where it comes from.",
        *(f"# Caution: {caution.text}" for caution in card.cautions),
        *(f"# {check.words}" for check in card.infill),
        f"name = {_quoted(card.name)}",
        f"about = {_quoted(f'own coupons of {card.date} over card {card.base.name}')}",
        f"from = {_quoted(base)}",
    ]
    if card.density is not None:
        n = card.density.n
        head += [
            f'density = "{card.density.mean * 1e9:.4g} g/cm^3"',
            f"source = {_quoted(f'own coupons weighed, n = {n}, {card.date}')}",
        ]
    return "\n".join([*head, *(line for state in card.states for line in ("", *_state_lines(state)))]) + "\n"


def _state_lines(state: OwnState) -> list[str]:
    keys = [key for key in KEYS if all((key, i) in state.entries for i in range(3))]
    lines = [f"[{_key(state.name)}]"]
    for key in keys:
        numbers = [_number(key, state.entries[(key, i)].value) for i in range(3)]
        pairs = {"nu": PAIRS, "G": PAIRS, "shear": SHEARS}.get(key)
        if pairs is None:
            lines.append(f"{key} = [{', '.join(numbers)}]")
        else:
            told = (f'"{pair}" = {number}' for pair, number in sorted(zip(pairs, numbers, strict=True)))
            lines.append(f"{key} = {{ {', '.join(told)} }}")
    sources = {key: _source(state, key) for key in keys}
    guessed = [key for key in keys if not all(state.entries[(key, i)].measured for i in range(3))]
    for key, value, source in (
        ("scatter", state.scatter, state.scatter_source),
        ("elastic_scatter", state.elastic_scatter, state.elastic_source),
    ):
        if value is not None:
            lines.append(f"{key} = {value:.3g}")
            sources[key] = source
            guessed += [key] if source.startswith("estimate") else []
    lines.append(f"estimates = [{', '.join(map(_quoted, guessed))}]")
    return [*lines, f"[{_key(state.name)}.source]", *(f"{key} = {_quoted(text)}" for key, text in sources.items())]


def _source(state: OwnState, key: str) -> str:
    """Where the three numbers of a key come from, those alike told together."""
    by_text: dict[str, list[Place]] = {}
    for i in range(3):
        by_text.setdefault(state.entries[(key, i)].source, []).append((key, i))
    return ". ".join(f"{', '.join(axis(*p) for p in places)}: {text}" for text, places in by_text.items())


def _number(key: str, value: float) -> str:
    text = number_text(key, value)
    return text if key in ("nu", STRAIN) else _quoted(text)


def _quoted(text: str) -> str:
    """Text as TOML takes it: JSON's escapes are TOML's."""
    return json.dumps(text, ensure_ascii=False)


def _key(name: str) -> str:
    return name if name.replace("_", "").replace("-", "").isalnum() and name.isascii() else _quoted(name)


def write_card(card: OwnCard, path: Path) -> Card:
    """Write the card's file, and give the card as the program reads it.

    It is read before it takes the place of another. Errors: CardError for numbers that no material has together (the
    coupons contradict each other), InputError where the file cannot be written.
    """
    base = card.base_name
    if base.endswith(".toml") or "/" in base or "\\" in base:
        base = Path(os.path.relpath(Path(base).resolve(), path.resolve().parent)).as_posix()
        base = base if "/" in base else f"./{base}"
    beside = path.with_name(f".{path.stem}.new.toml")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        beside.write_text(card_text(card, base=base), encoding="utf-8")
        read = load_card(beside)
        beside.replace(path)
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}.", where=str(path)) from None
    except CardError as error:
        advice = error.advice or "The coupons contradict each other: check which batch is which."
        raise CardError(error.message, where="the card of these coupons", advice=advice, each=error.each) from None
    finally:
        beside.unlink(missing_ok=True)
    return read
