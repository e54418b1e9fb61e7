"""The educator's round in a real browser: draft, check, try, whom it touches, publish, back."""

import pytest
from educator_steps import NEW, OLD, begin, change, enter, try_it

pytestmark = pytest.mark.peers
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


def broken(page, rules) -> list[str]:
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    page.evaluate(rules)
    found = page.evaluate("tags => axe.run(document, {runOnly: {type: 'tag', values: tags}})", TAGS)
    assert len(found["passes"]) > 10, "the rules were really run"
    return [f"{v['id']}: {n['html'][:160]}" for v in found["violations"] for n in v["nodes"]]


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_the_educator_changes_a_text_tries_it_publishes_it_and_goes_back(site, open_page, scripts):
    site.ward.enrol(1, "Rosalind Vale")
    page = enter(open_page, java_script_enabled=scripts)
    begin(page)
    change(page, OLD, "Hello {nobody}.")
    page.get_by_text("To mend it:").first.wait_for()
    change(page, "Hello {nobody}.", NEW)
    page.get_by_text("No faults").wait_for()
    try_it(page, "1", "thank you")
    assert page.get_by_text("Please do not shave near your knee from now on.").is_visible()
    assert page.get_by_text("a nurse is told").first.is_visible()
    page.get_by_role("link", name="The draft").click()
    page.get_by_role("button", name="See which patients").click()
    page.get_by_text("1 patient would be touched").wait_for()
    page.get_by_label("What changes and why").fill("kinder words")
    page.get_by_role("button", name="Publish 1 changed file").click()
    page.get_by_text("The draft is live").wait_for()
    assert NEW in str(site.ward.app.practice.book.flows["no_shaving"].wording)
    page.get_by_role("button", name="See which patients").click()
    page.get_by_label("Why").fill("the old one was clearer")
    page.get_by_role("button", name="Go back to").click()
    page.get_by_text("is live again").wait_for()
    assert OLD in str(site.ward.app.practice.book.flows["no_shaving"].wording)


def test_the_round_needs_no_mouse(site, open_page):
    page = enter(open_page, "/content/draft")
    page.get_by_role("button", name="Begin a draft").press("Enter")
    page.get_by_label("File", exact=True).select_option("talks/no_shaving.yaml")
    page.get_by_role("button", name="Open it").press("Enter")
    field = page.get_by_label("In the draft", exact=True)
    field.focus()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Save and check", "no trap"
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == "The live text"


@pytest.mark.parametrize("width", [320, 390, 1280])
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_the_draft_breaks_no_rule_and_never_scrolls_sideways(site, open_page, rules, width, dark):
    site.ward.enrol(1, "Rosalind Vale")
    page, found = enter(open_page, width=width, dark=dark), {}

    def judged(where: str) -> None:
        found[where] = broken(page, rules)
        wide = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        found[where] += [f"{wide} px too wide"] if wide > 0 else []

    begin(page)
    change(page, OLD, "Hello {nobody}, this is a rather long text that nobody would want to read.")
    judged("a file with faults")
    change(page, "Hello {nobody}, this is a rather long text that nobody would want to read.", NEW)
    page.get_by_text("No faults").wait_for()
    judged("a file")
    try_it(page, "1")
    judged("a try")
    page.goto(site.url + "/content/draft")
    page.get_by_role("button", name="See which patients").click()
    page.get_by_text("would be touched").wait_for()
    judged("the draft")
    assert {where: what for where, what in found.items() if what} == {}
