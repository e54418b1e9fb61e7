"""Every page there is, and who may use it. What is not here does not exist.

A handler takes a `Visit` and returns a response. `get` is a page to look at, `post` a form to send
(always with its token). Add a line here and the tests try it signed out, with every other role and
with a forged form.
"""

from bot.web import needs_you, signing_pages
from bot.web.access import CARE, EVERYONE, STAFF, Line, get, post

TABLE: tuple[Line, ...] = (
    # Signing in and out
    Line("GET", "/sign-in", signing_pages.sign_in_page, EVERYONE, open=True),
    Line("POST", "/sign-in", signing_pages.sign_in, EVERYONE, open=True),
    post("/session/stay", signing_pages.stay, STAFF),
    post("/sign-out", signing_pages.sign_out, STAFF),
    # Needs you
    get("/", needs_you.page, CARE),
)
