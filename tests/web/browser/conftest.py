"""A real browser on a real server, in this process, on the ward's own clock."""

import os
import shutil
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
import uvicorn

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)


def absent(why: str) -> None:
    """Leaves the test out on a developer's machine; in CI it must have been there."""
    if os.environ.get("CI"):
        pytest.fail(why)
    pytest.skip(why)


@dataclass
class Site:
    """Where the page is, and the service behind it."""

    url: str
    ward: object
    server: uvicorn.Server

    def stop(self) -> None:
        self.server.should_exit = True
        self.server.force_exit = True


@pytest.fixture(scope="session")
def chromium():
    if CHROMIUM is None:
        absent("Chromium is not installed: apt-get install chromium")
    api = pytest.importorskip("playwright.sync_api")
    with api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture
def site(ward) -> Iterator[Site]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    config = uvicorn.Config(ward.web, host="127.0.0.1", port=port, log_level="error")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    yield Site(f"http://127.0.0.1:{port}", ward, server)
    server.should_exit = True
    thread.join(10)


@pytest.fixture
def open_page(chromium, site):
    """Opens pages: open_page(path, width=..., dark=...); every page fails the test on a fault of
    its own (a script error, something the content policy refused)."""
    faults: list[str] = []
    contexts = []

    def open_one(path: str = "/sign-in", width: int = 1280, dark: bool = False, **options):
        context = chromium.new_context(
            viewport={"width": width, "height": 900 if width > 600 else 844},
            color_scheme="dark" if dark else "light",
            **options,
        )
        context.set_default_timeout(10_000)
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on(
            "console",
            lambda said: (
                faults.append(said.text) if "Content Security Policy" in said.text else None
            ),
        )
        page.goto(site.url + path)
        return page

    yield open_one
    for context in contexts:
        context.close()
    assert faults == []


@pytest.fixture
def sign_in(open_page):
    """A page that has signed in: sign_in("Ann Lee", "/log", width=390, dark=True)."""

    def signed_in(name: str = "Ann Lee", path: str = "/", **options):
        page = open_page("/sign-in", **options)
        page.get_by_label("Your name").fill(name)
        page.get_by_label("Password").fill("four plain words suffice")
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url("**/")
        if path != "/":
            page.goto(page.url.rstrip("/") + path)
        return page

    return signed_in


@pytest.fixture
def rules() -> str:
    """The accessibility rules, a script to run in a page."""
    path = Path(__file__).parent / "node_modules" / "axe-core" / "axe.min.js"
    if not path.is_file():
        absent("The accessibility rules are not here: npm ci --prefix tests/web/browser")
    return path.read_text(encoding="utf-8")
