"""`beadwork evidence`: the checks are run on this machine, and told on a page and in a file of numbers."""

from __future__ import annotations

import datetime
import json
from collections.abc import Callable, Sequence
from pathlib import Path

from fem.evidence.nouns import Finished, Row
from fem.evidence.refined import refined
from fem.evidence.register import chosen, run_checks
from fem.study.folder import added_together, checked_place
from fem.telling.files import write_text

Progress = Callable[[str, float], None]
DEFAULT_FOLDER = "results/evidence"
STUDY_SHARE = 0.6
"""Share of the time that a study on three meshes takes beside all checks."""


def gather_evidence(
    *,
    out: Path | None = None,
    only: str = "",
    study: Path | str | None = None,
    date: datetime.date | None = None,
    progress: Progress | None = None,
) -> tuple[tuple[Finished, ...], Path]:
    """Run the checks called `only` (all of them), and a `study` on three meshes where one is named.

    Writes evidence.html and evidence.json into `out` (results/evidence); returns what came out, and the page.

    Errors: InputError for a folder that takes no files or a name that no check has; those of the study.
    """
    from fem.evidence.page import write_page

    say = progress or (lambda _text, _share: None)
    folder = Path(DEFAULT_FOLDER if out is None else out)
    checked_place(folder)
    checks = chosen(only)
    own = None if study is None else refined(study, progress=lambda t, s: say(t, 1 - STUDY_SHARE + STUDY_SHARE * s))
    whole = 1.0 if own is None else 1 - STUDY_SHARE
    finished = run_checks(checks, progress=lambda text, share: say(text, whole * share))
    if own is not None:
        finished += (Finished(own, tuple(own.rows())),)
    with added_together(folder) as beside:
        page = write_page(finished, beside / "evidence.html", date=date or datetime.date.today())
        write_text(json_text(finished), beside / "evidence.json")
    say("done", 1.0)
    return finished, folder / page.name


def json_text(finished: Sequence[Finished]) -> str:
    """The rows as a list of objects, an object a line."""
    lines = [
        json.dumps({"field": one.check.field, **row.facts}, ensure_ascii=False, allow_nan=False)
        for one in finished
        for row in one.rows
    ]
    return "[\n" + ",\n".join(lines) + "\n]\n"


def rows_off(finished: Sequence[Finished]) -> list[Row]:
    """The rows that lie farther off than a right answer would."""
    return [row for one in finished for row in one.rows if not row.within]
