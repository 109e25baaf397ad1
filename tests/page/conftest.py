"""A browser for the tests of pages."""

import pytest

from tests.page.browser import CHROMIUM, FLAGS


@pytest.fixture(scope="module")
def chromium():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as made:
        browser = made.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield browser
        browser.close()
