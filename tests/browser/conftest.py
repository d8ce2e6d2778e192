"""Browser fixtures: one JupyterLab server and one Chromium for the run, a fresh page for every test."""

import os
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
import jupyter_browser


@pytest.fixture(scope="session")
def lab(tmp_path_factory):
    """A running JupyterLab: (address, folder that it serves)."""
    folder = tmp_path_factory.mktemp("lab")
    with jupyter_browser.jupyter_server(folder) as address:
        yield address, folder


@pytest.fixture(scope="session")
def playwright_driver():
    if jupyter_browser.find_chromium() is None:
        missing = "no Chromium or Chrome is installed, so no notebook can be tried in a browser"
        if os.environ.get("CI") == "true":
            pytest.fail(missing)
        pytest.skip(missing)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        yield driver


@pytest.fixture
def page(playwright_driver):
    """A page that reaches this machine only; the test fails if it asked for anything elsewhere."""
    with jupyter_browser.browser_page(playwright_driver) as page:
        yield page
        assert page.refused == [], "a notebook must work without a network"
