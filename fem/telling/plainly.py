"""Results without images, for scripts that read numbers: findings, fields, and a page that says what it lacks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from fem.caution import Caution
from fem.judging.findings import Findings
from fem.judging.scene import Scene
from fem.telling.album import Progress
from fem.telling.files import write_fields
from fem.telling.report import write_report
from fem.zooming.nouns import ZoomView

LEFT_OUT = "No pictures were drawn, as asked for (--no-pictures). Numbers and fields.vtu are those of any run."


def without_pictures(findings: Findings) -> Findings:
    """The findings that say that nothing was drawn."""
    return replace(findings, cautions=(*findings.cautions, Caution("no_pictures", LEFT_OUT)))


def tell_plainly(
    findings: Findings, scene: Scene, *, folder: Path, zooms: Sequence[ZoomView] = (), progress: Progress = None
) -> Path:
    """Write fields.vtu and report.html into `folder` and return the report's path; none of the `zooms` is drawn."""
    say = progress or (lambda _text, _share: None)
    folder.mkdir(parents=True, exist_ok=True)
    say("findings and fields", 0.0)
    write_fields(scene, folder / "fields.vtu")
    say("report", 0.5)
    return write_report(findings, scene, (), folder=folder)
