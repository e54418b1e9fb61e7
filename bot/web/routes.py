"""Every page there is, and who may use it. What is not here does not exist.

A handler takes a `Visit` and returns a response. `get` is a page to look at, `post` a form to send
(always with its token). Add a line here and the tests try it signed out, with every other role and
with a forged form.
"""

from bot.web import (
    account_pages,
    change_pages,
    coach_pages,
    content_pages,
    draft_pages,
    draft_try_pages,
    enrol_pages,
    escalation_pages,
    log_pages,
    needs_you,
    patient_pages,
    readiness_pages,
    report_pages,
    signing_pages,
    trial_pages,
)
from bot.web.access import (
    CARE,
    DRAFT,
    EDUCATOR,
    EVERYONE,
    LARGE,
    NURSE,
    OVERSIGHT,
    REPORTS,
    STAFF,
    Line,
    get,
    post,
)

TABLE: tuple[Line, ...] = (
    # Signing in and out
    Line("GET", "/sign-in", signing_pages.sign_in_page, EVERYONE, open=True),
    Line("POST", "/sign-in", signing_pages.sign_in, EVERYONE, open=True),
    post("/session/stay", signing_pages.stay, STAFF),
    post("/sign-out", signing_pages.sign_out, STAFF),
    # One's own account
    get("/account", account_pages.page, STAFF),
    post("/account/code", account_pages.begin, STAFF),
    post("/account/code/confirm", account_pages.confirm, STAFF),
    post("/account/code/remove", account_pages.remove, STAFF),
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
    # Who is ready, and one patient
    get("/readiness", readiness_pages.page, CARE),
    get("/patients/{patient:int}", patient_pages.page, CARE),
    get("/patients/{patient:int}/handout", enrol_pages.handout, CARE),
    post("/patients/{patient:int}/link", enrol_pages.make_link, CARE),
    post("/patients/{patient:int}/message", patient_pages.message, NURSE),
    post("/patients/{patient:int}/pause", patient_pages.pause, NURSE),
    post("/patients/{patient:int}/resume", patient_pages.resume, NURSE),
    post("/patients/{patient:int}/done", patient_pages.mark_done, NURSE),
    post("/patients/{patient:int}/holds", patient_pages.add_hold, NURSE),
    post("/patients/{patient:int}/coaches", patient_pages.add_coach, NURSE),
    post("/patients/{patient:int}/coaches/level", patient_pages.set_level, NURSE),
    post("/patients/{patient:int}/coaches/{coach:int}/remove", patient_pages.remove_coach, NURSE),
    post("/patients/{patient:int}/coaches/{coach:int}/link", coach_pages.make_link, NURSE),
    post("/patients/{patient:int}/change/preview", change_pages.preview, NURSE),
    post("/patients/{patient:int}/change", change_pages.confirm, NURSE),
    # Enrolling
    get("/enrol", enrol_pages.page, CARE),
    post("/enrol", enrol_pages.enrol, CARE),
    post("/enrol/file/preview", enrol_pages.preview_file, CARE, LARGE),
    post("/enrol/file", enrol_pages.enrol_file, CARE, LARGE),
    # The program report
    get("/report", report_pages.page, REPORTS),
    get("/report/completion.svg", report_pages.completion, REPORTS),
    get("/report/silence.svg", report_pages.silence, REPORTS),
    get("/report/alarms.svg", report_pages.alarms, REPORTS),
    get("/report/redatings.svg", report_pages.redatings, REPORTS),
    # The content, for the educator
    get("/content", content_pages.page, EDUCATOR),
    post("/content/preview", content_pages.preview, EDUCATOR),
    post("/content/back", content_pages.back, EDUCATOR),
    # The draft of the content
    get("/content/draft", draft_pages.page, EDUCATOR),
    post("/content/draft", draft_pages.start, EDUCATOR),
    get("/content/draft/file", draft_pages.file, EDUCATOR),
    post("/content/draft/file", draft_pages.save, EDUCATOR, DRAFT),
    post("/content/draft/check", draft_pages.check, EDUCATOR),
    get("/content/draft/try", draft_try_pages.page, EDUCATOR),
    post("/content/draft/try", draft_try_pages.step, EDUCATOR),
    post("/content/draft/touched", draft_pages.touched, EDUCATOR),
    post("/content/draft/renew", draft_pages.renew, EDUCATOR),
    post("/content/draft/away", draft_pages.put_away, EDUCATOR),
    post("/content/draft/publish", draft_pages.publish, EDUCATOR),
    # A patient who is not real
    get("/trial", trial_pages.page, CARE),
    post("/trial", trial_pages.write, CARE),
)
