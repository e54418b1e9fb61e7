"""The nurse's morning in a real browser."""

import pytest

pytestmark = pytest.mark.peers


def fever(site):
    """A fever that nobody has taken; the number of its escalation."""
    site.ward.enrol()
    site.ward.run(minutes=1)
    site.ward.says("I have a fever of 101.5")
    return next(i.case.id for i in site.ward.app.worklist() if "fever" in i.case.reasons)


def test_the_morning_from_signing_in_to_closing(site, sign_in):
    case = fever(site)
    page = sign_in()
    card = page.locator(f"#case-{case}")
    assert "I have a fever of 101.5" in card.inner_text()
    assert (
        card.get_by_role("link", name="Patient +1 202-555-0150").get_attribute("href")
        == "tel:+12025550150"
    )
    card.get_by_role("button", name="Acknowledge").click()
    page.get_by_text("It is yours now.").wait_for()
    card.get_by_text("I reached the patient").click()
    card.get_by_label("What was said").fill("Warm since last night, no cough.")
    card.get_by_role("button", name="Save: reached").click()
    page.get_by_text("Written down").wait_for()
    card.get_by_text("Write the decision", exact=True).click()
    card.get_by_label("What was decided").select_option("postponed")
    card.get_by_label("Who decided, and why").fill("Dr. Quill: postpone.")
    card.get_by_role("button", name="Save the decision").click()
    page.get_by_text("the patient is being told").wait_for()
    site.ward.app.relay()
    card.get_by_text("Close it").click()
    card.get_by_label("How the patient is").fill("Knows, will call on Monday.")
    card.get_by_role("button", name="Close escalation").click()
    page.get_by_text("Closed.").wait_for()
    assert card.count() == 0
    page.get_by_role("link", name=f"Escalation {case}").click()
    assert "Dr. Quill: postpone." in page.locator(".timeline").inner_text()


def test_two_nurses_at_once(site, sign_in):
    case = fever(site)
    ann, bo = sign_in("Ann Lee"), sign_in("Bo Marsh")
    ann.locator(f"#case-{case}").get_by_role("button", name="Acknowledge").click()
    ann.get_by_text("It is yours now.").wait_for()
    card = bo.locator(f"#case-{case}")
    card.get_by_text("I reached the patient").click()
    card.get_by_label("What was said").fill("102 now.")
    card.get_by_role("button", name="Save: reached").click()
    bo.get_by_text("Nothing was saved").wait_for()
    assert "Ann Lee, taken" in bo.get_by_role("alert").first.inner_text()
    assert bo.get_by_label("What was said").input_value() == "102 now."
    bo.get_by_role("button", name="Save: reached").click()
    bo.get_by_text("Written down").wait_for()


def test_everything_by_keyboard(site, sign_in, open_page):
    """From signing in to acknowledging with the tabulator and return keys alone."""
    case = fever(site)
    page = open_page("/sign-in")
    keys = page.keyboard

    def tab_to(test, limit=60):
        for _ in range(limit):
            keys.press("Tab")
            if page.evaluate(f"(() => {{ const e = document.activeElement; return {test}; }})()"):
                outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
                assert outline != "none", "the place of the keyboard is seen"
                return
        raise AssertionError(f"the keyboard does not reach {test}")

    tab_to("e.name === 'name'")
    keys.type("Ann Lee")
    keys.press("Tab")
    keys.type("four plain words suffice")
    keys.press("Enter")
    page.wait_for_url("**/")
    tab_to("e.className === 'skip'")
    keys.press("Enter")
    tab_to(f"e.id === 'take-{case}'")
    keys.press("Enter")
    page.get_by_text("It is yours now.").wait_for()
    tab_to(f"e.tagName === 'SUMMARY' && e.parentElement.id === 'decision-{case}'")
    keys.press("Enter")
    tab_to("e.tagName === 'SELECT'")
    keys.type("Goes")
    tab_to(f"e.id === 'decision-note-{case}'")
    keys.type("Dr. Quill: goes ahead.")
    tab_to(f"e.id === 'decide-{case}'")
    keys.press("Enter")
    page.get_by_text("the patient is being told").wait_for()
    site.ward.app.relay()
    tab_to(f"e.tagName === 'SUMMARY' && e.parentElement.id === 'closing-{case}'")
    keys.press("Enter")
    tab_to(f"e.id === 'close-note-{case}'")
    keys.type("Well again.")
    tab_to(f"e.id === 'close-{case}'")
    keys.press("Enter")
    page.get_by_text("Closed.").wait_for()


def test_a_new_alarm_appears_by_itself(site, sign_in):
    site.ward.enrol()
    page = sign_in()
    site.ward.run(minutes=1)
    site.ward.says("I have a fever of 101.5")
    page.get_by_text("I have a fever of 101.5", exact=True).wait_for(timeout=15_000)
    assert page.title().startswith("(")


def test_what_is_being_written_is_not_replaced_by_an_update(site, sign_in):
    case = fever(site)
    page = sign_in()
    card = page.locator(f"#case-{case}")
    card.get_by_text("I reached the patient").click()
    card.get_by_label("What was said").fill("half a sentence")
    site.ward.run(minutes=1)
    site.ward.says("and a cough")
    page.get_by_text("This list waits while you write").wait_for(timeout=15_000)
    assert card.get_by_label("What was said").input_value() == "half a sentence"


def test_a_page_that_has_stopped_updating_says_so(site, sign_in):
    page = sign_in()
    page.route("**/live/**", lambda route: route.abort())
    page.get_by_text("This page has stopped updating").wait_for(timeout=20_000)
    page.unroute("**/live/**")
    page.get_by_text("This page has stopped updating").wait_for(state="hidden", timeout=20_000)


def test_without_a_script_the_work_can_be_done(site, sign_in):
    case = fever(site)
    page = sign_in(java_script_enabled=False)
    page.locator(f"#take-{case}").click()
    assert "It is yours now." in page.content()


def test_a_warning_comes_before_the_session_ends_and_extends_it(site, sign_in):
    page = sign_in()
    page.evaluate("document.getElementById('session').dataset.seconds = '60'")
    page.evaluate("document.dispatchEvent(new Event('DOMContentLoaded'))")
    page.locator("#session.warning").wait_for()
    page.locator("#session").get_by_role("button", name="Stay signed in").click()
    page.locator("#session:not(.warning)").wait_for()
