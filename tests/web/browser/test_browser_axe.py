"""Every page, light and dark, desktop and phone, judged by the rules of WCAG 2.2 A and AA."""

import re

import pytest

from bot.core.staff import Role
from bot.web.routes import TABLE

pytestmark = pytest.mark.peers
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
NAMES = {Role.NURSE: "Ann Lee", Role.EDUCATOR: "Edie Cole", Role.ADMINISTRATOR: "Ada Frost"}
NOT_PAGES = re.compile(r"\.(csv|svg|png)$|^/live/|/qr|/preview$")
PAGES = [
    line
    for line in TABLE
    if line.method == "GET" and not NOT_PAGES.search(line.path) and not line.open
]


def violations(page, rules):
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    page.evaluate(rules)
    found = page.evaluate("tags => axe.run(document, {runOnly: {type: 'tag', values: tags}})", TAGS)
    assert len(found["passes"]) > 10, "the rules were really run"
    return [
        f"{one['id']}: {node['html'][:160]} {node['failureSummary'][:200]}"
        for one in found["violations"]
        for node in one["nodes"]
    ]


@pytest.fixture
def judged(rules):
    return lambda page: violations(page, rules)


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_no_page_breaks_a_rule(site, open_page, sign_in, judged, dark):
    cases = site.ward.morning()
    site.ward.signed_in().post("/trial", text="I have a fever of 101.5")
    found = {}
    for width in (1280, 390):
        page = open_page("/sign-in", width=width, dark=dark)
        found["/sign-in", width] = judged(page)
        page = sign_in("Ann Lee", width=width, dark=dark)
        for line in PAGES:
            if Role.NURSE not in line.roles:
                continue
            path = line.path.replace("{case:int}", str(cases["Wilma Prowse"]))
            path = re.sub(r"\{\w+(:\w+)?\}", "1", path)
            answer = page.goto(site.url + path)
            assert answer.status == 200, path
            found[path, width] = judged(page)
        page.goto(site.url + "/nothing")
        found["missing", width] = judged(page)
    assert {where: what for where, what in found.items() if what} == {}


def test_the_rules_bite(open_page, judged):
    page = open_page("/sign-in")
    page.evaluate("document.querySelector('label').remove()")
    assert any("label" in one for one in judged(page))


def test_a_refused_form_breaks_no_rule(site, sign_in, judged):
    cases = site.ward.morning()
    page = sign_in("Ann Lee", f"/escalations/{cases['Rosalind Vale']}")
    page.get_by_text("Write the decision", exact=True).click()
    page.get_by_label("What was decided").select_option("watch")
    page.get_by_label("Who decided, and why").fill("wait")
    page.get_by_role("button", name="Save the decision").click()
    page.get_by_role("alert").first.wait_for()
    assert judged(page) == []
