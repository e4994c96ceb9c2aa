"""`beadwork report`."""

from __future__ import annotations

import argparse

from fem.cli.console import progress, screen
from fem.cli.judging import changes_of
from fem.cli.studies import CAUTION


def report(options: argparse.Namespace) -> int:
    """Write the design review of a study and say where it lies."""
    from fem.study.review import review_study
    from fem.telling.words import answer

    with progress() as say:
        made = review_study(
            options.study,
            changes=changes_of(options),
            variant=options.variant,
            out=options.out,
            pictures=not options.no_pictures,
            progress=say,
        )
    console = screen()
    console.print(made.findings.title, soft_wrap=True, style="bold")
    if made.subject:
        console.print(made.subject, soft_wrap=True)
    for sentence in answer(made.findings):
        console.print(sentence, soft_wrap=True)
    if made.reused:
        console.print("The results of the earlier run hold for these inputs and were used again.", soft_wrap=True)
    for note in made.notes:
        console.print(note, soft_wrap=True)
    console.print(f"Review on paper: {made.pdf}\nReview on screen: {made.html}", soft_wrap=True)
    console.print(CAUTION, style="dim")
    return 0
