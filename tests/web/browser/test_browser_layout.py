"""Every page fits its window, on a desk and on a phone; the pictures in docs/ are taken here.

COUNTDOWN_PICTURES=docs/screens .venv/bin/python -m pytest tests/web/browser/test_browser_layout.py
"""

import os
from pathlib import Path

import pytest

pytestmark = pytest.mark.peers


@pytest.mark.parametrize(
    ("width", "dark"), [(1280, False), (1280, True), (390, False), (390, True)]
)
def test_no_page_is_wider_than_its_window(site, open_page, sign_in, width, dark, tmp_path):
    cases = site.ward.morning()
    folder = Path(os.environ.get("COUNTDOWN_PICTURES", tmp_path))
    kind = f"{'desktop' if width > 600 else 'phone'}{'-dark' if dark else ''}"

    def look(page, name):
        wide = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        assert wide <= 0, f"{name} is {wide} pixels too wide"
        page.screenshot(path=folder / f"{name}-{kind}.png")

    look(open_page("/sign-in", width=width, dark=dark), "sign-in")
    page = sign_in("Ann Lee", width=width, dark=dark)
    look(page, "needs-you")
    case = cases["Wilma Prowse"]
    for name, path in (
        ("story", f"/escalations/{case}"),
        ("log", "/log"),
        ("handover", "/handover"),
    ):
        page.goto(site.url + path)
        look(page, name)
    page.goto(f"{site.url}/escalations/{case}")
    page.get_by_text("Write the decision", exact=True).or_(
        page.get_by_text("Write another decision", exact=True)
    ).click()
    page.get_by_label("What was decided").scroll_into_view_if_needed()
    look(page, "decision")
