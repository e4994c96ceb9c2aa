"""One beam, told once, for all tests of this room."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import beam


@pytest.fixture(scope="session")
def scene():
    return beam.beam_scene(beam.beam_mesh())


@pytest.fixture(scope="session")
def findings(scene):
    return beam.beam_findings(scene)


@pytest.fixture(scope="session")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("told")


@pytest.fixture(scope="session")
def told(findings, scene, folder):
    from fem.telling import tell

    steps = []
    path = tell(findings, scene, folder=folder, progress=lambda text, share: steps.append((text, share)))
    return path, steps


@pytest.fixture(scope="session")
def pictures(findings, scene, tmp_path_factory):
    from fem.telling.pictures import draw_pictures

    folder = tmp_path_factory.mktemp("pictures")
    return {p.file: p for p in draw_pictures(findings, scene, folder=folder)}, folder
