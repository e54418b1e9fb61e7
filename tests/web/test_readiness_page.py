"""Who is ready: the list, the grid, and turning pages."""

import re
from dataclasses import replace
from datetime import date, timedelta

import pytest
from clinic_samples import KNEE, MONDAY


def names(text: str) -> list[str]:
    return re.findall(r'<a href="/patients/\d+">([^<]+)</a>', text)


@pytest.fixture
def many(ward):
    """Thirty patients, one operation a day from tomorrow on."""
    for number in range(1, 31):
        on = MONDAY.date() + timedelta(days=number)
        ward.enrol(number, f"Person {number:02d}", surgery=replace(KNEE, on=on))
    return ward


def test_the_list_is_by_days_to_surgery_and_turns_its_pages(many):
    browser = many.signed_in()
    first = browser.get("/readiness").text
    assert names(first) == [f"Person {n:02d}" for n in range(1, 26)]
    link = re.search(r'rel="next" href="([^"]+)"', first).group(1).replace("&amp;", "&")
    assert names(browser.get(link).text) == [f"Person {n:02d}" for n in range(26, 31)]


def test_a_page_keeps_its_place_when_somebody_joins_before_it(many):
    browser = many.signed_in()
    first = browser.get("/readiness").text
    link = re.search(r'rel="next" href="([^"]+)"', first).group(1).replace("&amp;", "&")
    many.enrol(31, "Early Bird", surgery=replace(KNEE, on=MONDAY.date() + timedelta(days=1)))
    assert names(browser.get(link).text)[0] == "Person 26"


def test_a_page_keeps_its_place_when_its_first_patient_leaves(many):
    browser = many.signed_in()
    first = browser.get("/readiness").text
    link = re.search(r'rel="next" href="([^"]+)"', first).group(1).replace("&amp;", "&")
    many.app.care.cancel_surgery(26, "Bo Marsh")
    assert names(browser.get(link).text)[0] == "Person 27"


@pytest.mark.parametrize("words", ["person 07", "P-7 07", "2025550156"])
def test_somebody_is_found_by_name_number_or_phone(many, words):
    assert names(many.signed_in().get(f"/readiness?words={words}").text) == ["Person 07"]


def test_what_is_typed_is_no_pattern(many):
    assert names(many.signed_in().get("/readiness?words=%25").text) == []


def test_the_grid_says_every_sign_in_words_too(ward):
    ward.enrol()
    ward.app.care.mark_done_by_phone(1, "pets", "Ann Lee", "not_needed")
    ward.run(days=25)
    text = ward.signed_in().get("/readiness?view=grid").text
    row = text.split("<tbody>")[1].split("</tr>")[0]
    for shape, word in (("!", "late"), ("…", "waiting"), ("–", "not needed")):
        sign = f'<span aria-hidden="true">{shape}</span><span class="visually-hidden">{word}</span>'
        assert sign in row


def test_who_has_no_surgery_any_more_is_under_stopped(many):
    many.app.care.cancel_surgery(3, "Bo Marsh")
    browser = many.signed_in()
    assert "Person 03" not in browser.get("/readiness").text
    assert names(browser.get("/readiness?when=stopped").text) == ["Person 03"]


def test_the_week_ends_on_its_seventh_day(many):
    found = names(many.signed_in().get("/readiness?when=week").text)
    assert found == [f"Person {n:02d}" for n in range(1, 8)]
    assert date(2027, 2, 15) == MONDAY.date() + timedelta(days=7)
