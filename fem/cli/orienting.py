"""`beadwork orient`."""

from __future__ import annotations

import argparse

from fem.cli.console import progress, ruled, screen, tell_cautions
from fem.cli.studies import CAUTION
from fem.digits import reserve_text


def orient(options: argparse.Namespace) -> int:
    from fem.judging.orientation import direction_words, vector_text
    from fem.study.orientation.story import orient_study

    with progress() as say:
        scan, page = orient_study(
            options.study,
            body=options.body,
            directions=options.directions,
            jobs=options.jobs,
            out=options.out,
            progress=say,
        )
    console = screen()
    rows = []
    for pick in scan.picks:
        d = pick.numbers
        study = d.kind == "study"
        way = d.direction if study else d.build_direction
        rows.append(
            [
                "; ".join(pick.why),
                f"{vector_text(way)}, {direction_words(way)}",
                reserve_text(d.reserve),
                f"{d.deflection_mm:.3g}",
                f"{d.interlayer_MPa:.3g}",
                f"{d.overhang_mm2 if study else d.support_mm2:,.0f}",
                f"{d.time_h:.1f}",
                "; ".join(d.missed),
            ]
        )
    heads = ["selected for", "build_direction", "minimum reserve factor", "deflection [mm]"]
    heads += ["interlayer tension [MPa]", "overhang [mm²]", "time [h]", "requirements missed"]
    console.print(ruled(f"{scan.title}: build directions of {scan.body}", heads, rows))
    console.print(scan.reason, soft_wrap=True)
    tell_cautions(console, scan.cautions)
    console.print(f"Page: {page}", soft_wrap=True)
    console.print(CAUTION, style="dim")
    return 0
