"""The program report counts what is on record, and draws it without anything inline."""

import re
from dataclasses import replace
from datetime import date, time

import pytest
from clinic_samples import KNEE

from bot.core.escalation import Disposition
from bot.service.views_report import Completion, Count, Times
from bot.web import charts

SOME = (Completion("Blood tests", 3, 1, 2, 4), Completion("Ride", 0, 0, 1, 9))


def cell(text: str, caption: str, row: str) -> list[str]:
    table = text.split(f"<caption>{caption}")[1].split("</table>")[0]
    line = re.search(rf'<th scope="row">{row}</th>(.*?)</tr>', table).group(1)
    return re.findall(r'<td class="number"[^>]*>(.*?)</td>', line)


def test_completion_counts_only_those_whose_day_has_come(ward):
    past = replace(KNEE, on=date(2027, 2, 8))
    for number, item, value in ((1, "pets", "done"), (2, "pets", "not_done"), (3, "pets", "done")):
        ward.enrol(number, f"Person {number}", surgery=past if number < 3 else KNEE)
        ward.app.care.mark_done_by_phone(number, item, "Ann Lee", value)
    text = ward.signed_in().get("/report").text
    assert cell(text, "Completion", "Pets") == ["1", "0", "1", "0", "50 %"]


def test_changes_of_date_are_counted_by_how_far_ahead_they_were(ward):
    for number, on in ((1, date(2027, 3, 15)), (2, date(2027, 2, 11)), (3, date(2027, 2, 8))):
        ward.enrol(number, f"Person {number}", surgery=replace(KNEE, on=on))
        ward.app.care.move_surgery(number, date(2027, 3, 16), "Ann Lee", time(8))
    ward.enrol(4, "Person 4", surgery=replace(KNEE, on=date(2027, 2, 8)))
    ward.app.care.cancel_surgery(4, "Ann Lee")
    text = ward.signed_in().get("/report").text
    caption = "Changes of date and cancellations"
    assert cell(text, caption, "A week or more ahead") == ["1"]
    assert cell(text, caption, "1 to 6 days ahead") == ["1"]
    assert cell(text, caption, "On the day") == ["2"]


def test_alarms_show_median_minutes(ward):
    ward.enrol()
    ward.says("I have a fever of 101.5")
    case = ward.app.worklist(1)[0].case.id
    ward.wait(minutes=10)
    ward.app.care.acknowledge(case, "Ann Lee")
    ward.wait(minutes=20)
    ward.app.care.reach_patient(case, "Ann Lee", "fine")
    ward.app.care.decide(case, Disposition.GOES_AHEAD, "Ann Lee", "Dr. Quill agrees")
    ward.wait(minutes=30)
    ward.app.care.close(case, "Ann Lee", "well")
    text = ward.signed_in().get("/report").text
    table = text.split("Median minutes from the report (and")[1].split("</table>")[0]
    numbers = re.findall(r'<td class="number"[^>]*>(\d+)', table)
    assert numbers == ["1", "0", "10", "30", "60"]


def test_somebody_who_never_wrote_is_silent(ward):
    ward.enrol()
    ward.enrol(2, "Tobias Finch")
    ward.says("hello", ward.phone(2))
    text = ward.signed_in().get("/report").text
    assert cell(text, "Patients ahead", "Never wrote") == ["1"]
    assert cell(text, "Patients ahead", "Wrote in the last day") == ["1"]


def test_patients_who_are_not_real_are_left_out(ward):
    browser = ward.signed_in()
    browser.post("/trial", "/trial", text="hello")
    assert "0 patients ahead of surgery" in browser.get("/report").text


@pytest.mark.parametrize(
    "svg",
    [
        charts.completion(SOME),
        charts.completion(()),
        charts.counts((Count("On the day", 2),), "Changes"),
        charts.times((Times("urgent", 2, 1, (2, 4.0), (1, 9.0), (0, None)),)),
        charts.times(()),
    ],
)
def test_a_chart_holds_nothing_inline(svg):
    assert svg.lstrip().startswith("<?xml")
    assert not re.search(r"<style|\sstyle=|<script", svg)
    assert 'fill="#' in svg


def test_the_same_figures_give_the_same_picture():
    charts.completion.cache_clear()
    first = charts.completion(SOME)
    charts.completion.cache_clear()
    assert charts.completion(SOME) == first
