"""Debian's Chromium, drawing in software: pages are opened from disk, and their pixels read."""

from __future__ import annotations

import io
import shutil
from contextlib import contextmanager

import numpy as np
import pytest
from PIL import Image

NAMES = ("chromium", "chromium-browser", "google-chrome")
SOFTWARE = ("--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--ignore-gpu-blocklist")


@contextmanager
def chromium():
    """The browser; the test is left out where the machine has none."""
    path = next(filter(None, map(shutil.which, NAMES)), None)
    if path is None:
        pytest.skip("no Chromium is installed here (apt-get install chromium)")
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed (pip install -e .[test])")
    with api.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=path, args=["--no-sandbox", *SOFTWARE])
        yield browser
        browser.close()


class Page:
    """An open page and what its console said."""

    def __init__(self, browser, path, *, wide=1300, high=900, before="", **context):
        self.context = browser.new_context(viewport={"width": wide, "height": high}, **context)
        self.at = self.context.new_page()
        self.said, self.asked = [], []
        self.at.on("console", lambda message: self.said.append(f"{message.type}: {message.text}"))
        self.at.on("pageerror", lambda error: self.said.append(str(error)))
        self.at.on("request", lambda request: self.asked.append(request.url))
        if before:
            self.at.add_init_script(before)
        self.at.goto(path.as_uri())

    def run(self, script, given=None):
        return self.at.evaluate(script, given)

    def pixels(self, selector):
        """An element as it is seen (rows, columns, 3)."""
        shot = self.at.locator(selector).first.screenshot()
        return np.asarray(Image.open(io.BytesIO(shot)).convert("RGB")).astype(int)

    def close(self):
        self.context.close()
