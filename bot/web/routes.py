"""Every page there is, and who may use it. What is not here does not exist.

A handler takes a `Visit` and returns a response. `get` is a page to look at, `post` a form to send
(always with its token). Add a line here and the tests try it signed out, with every other role and
with a forged form.
"""

from bot.web import escalation_pages, log_pages, needs_you, signing_pages, trial_pages
from bot.web.access import CARE, EVERYONE, NURSE, OVERSIGHT, STAFF, Line, get, post

TABLE: tuple[Line, ...] = (
    # Signing in and out
    Line("GET", "/sign-in", signing_pages.sign_in_page, EVERYONE, open=True),
    Line("POST", "/sign-in", signing_pages.sign_in, EVERYONE, open=True),
    post("/session/stay", signing_pages.stay, STAFF),
    post("/sign-out", signing_pages.sign_out, STAFF),
    # Needs you
    get("/", needs_you.page, CARE),
    get("/live/needs-you", needs_you.part, CARE, live=True),
    get("/handover", log_pages.handover_page, CARE),
    # One escalation
    get("/escalations/{case:int}", escalation_pages.page, STAFF),
    post("/escalations/{case:int}/acknowledge", escalation_pages.acknowledge, NURSE),
    post("/escalations/{case:int}/reached", escalation_pages.reached, NURSE),
    post("/escalations/{case:int}/note", escalation_pages.note, NURSE),
    post("/escalations/{case:int}/decide", escalation_pages.decide, NURSE),
    post("/escalations/{case:int}/close", escalation_pages.close, NURSE),
    post("/escalations/{case:int}/undo", escalation_pages.undo, NURSE),
    # The log
    get("/log", log_pages.page, OVERSIGHT),
    get("/log.csv", log_pages.export, OVERSIGHT),
    # A patient who is not real
    get("/trial", trial_pages.page, CARE),
    post("/trial", trial_pages.write, CARE),
)
