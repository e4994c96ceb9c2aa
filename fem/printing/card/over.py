"""An own card made from another one: the few values that differ stand in its file, each with its own source.

Both are tables as their files hold them; what comes out is read and checked as any card is.
"""

from __future__ import annotations

from typing import Any

from fem.errors import CardError, Faults
from fem.printing.card.constituents import BUILT_KEYS, COMPUTED
from fem.printing.card.nouns import OLD_STATES
from fem.printing.card.values import NOTE_KEYS, estimates_of, named, sources_of

WHOLE = ("temperature",)
"""Tables that are replaced as a whole: their rows belong together."""


def card_over(own: dict[str, Any], base: dict[str, Any], *, file: str, base_name: str) -> dict[str, Any]:
    """The tables of `base` with what `own` says put over them; `file` and `base_name` for messages and sources.

    A value that is replaced loses its place among the estimates and takes its source from the own card, marked as the
    user's. Errors: CardError for a value without a source, and notes that fit no value.
    """
    faults = Faults()
    out = {**base, **{key: value for key, value in own.items() if not isinstance(value, dict) and key != "from"}}
    out.update(faults.of(_over, _top(own), _top(base), file, base_name) or {})
    for key, value in own.items():
        if not isinstance(value, dict) or key == "source":
            continue
        now = OLD_STATES.get(key, "")
        if key not in base and now in base:
            faults.found.append(
                CardError(f"state {named(key)} is now called {named(now)}.", where=file, advice=f"Write [{now}].")
            )
        elif key in WHOLE or not isinstance(base.get(key), dict):
            out[key] = value
        else:
            out[key] = faults.of(_over, value, base[key], f"{file}: {key}", base_name) or base[key]
    faults.refuse(file)
    return out


def _top(table: dict[str, Any]) -> dict[str, Any]:
    """What stands above the states and has a source."""
    return {key: table[key] for key in ("density", *NOTE_KEYS) if key in table}


def _over(own: dict[str, Any], base: dict[str, Any], where: str, base_name: str) -> dict[str, Any]:
    """One table over another, with the notes of both."""
    changed = tuple(key for key in own if key not in (*NOTE_KEYS, *WHOLE))
    if changed and "source" not in own:
        raise CardError(
            '"source" is missing.', where=where, advice=f"Say where {', '.join(changed)} of your own come from."
        )
    given = tuple(key for key in base if key not in (*NOTE_KEYS, *WHOLE))
    faults = Faults()
    own_sources = faults.of(sources_of, own, changed, where) if changed else {}
    own_estimates = faults.of(estimates_of, own, changed, where)
    faults.refuse(where.split(": ")[0])
    sources = sources_of(base, given, where) if "source" in base else {}
    estimates = estimates_of(base, given, where)
    values = {key: base[key] for key in base if key not in NOTE_KEYS}
    for key in changed:
        both = isinstance(own[key], dict) and isinstance(base.get(key), dict)
        values[key] = {**base[key], **own[key]} if both else own[key]
    if all(key in own for key in COMPUTED):  # given, hence no longer computed
        values = {key: value for key, value in values.items() if key not in (*BUILT_KEYS, "knockdown")}
    values |= {key: own[key] for key in WHOLE if key in own}
    marked = {key: f"the user's own, over card {base_name}: {text}" for key, text in (own_sources or {}).items()}
    out = dict(values)
    told = {key: text for key, text in {**sources, **marked}.items() if key in out}
    if told:
        out["source"] = told
    out["estimates"] = [
        key for key in (*(e for e in estimates if e not in changed), *(own_estimates or ())) if key in out
    ]
    return out
