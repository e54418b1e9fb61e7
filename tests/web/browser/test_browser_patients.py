"""A nurse's work on her patients in a real browser: another date, a schedule, a thread."""

from datetime import date

import pytest

pytestmark = pytest.mark.peers
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
CSV = """patient_id,name,phone,born,joint,side,surgery_date,surgeon,start_time
P-901,Walter Brandt,+1-202-555-0181,1953-04-02,knee,left,2027-03-16,Dr. Ana Quill,07:30
P-902,Elena Marrero,+1-202-555-0182,1960-11-19,hip,right,2027-03-21,Dr. Leo Marsh,
P-903,Harold Finch,12345,1948-01-27,hip,left,2027-03-17,Dr. Leo Marsh,10:15
P-904,Doris Achter,+1-202-555-0184,1956-07-08,elbow,right,2027-03-18,Dr. Ana Quill,13:15
"""


def broken(page, rules) -> list[str]:
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    page.evaluate(rules)
    found = page.evaluate("tags => axe.run(document, {runOnly: {type: 'tag', values: tags}})", TAGS)
    assert len(found["passes"]) > 10, "the rules were really run"
    return [f"{v['id']}: {n['html'][:160]}" for v in found["violations"] for n in v["nodes"]]


def test_a_patient_gets_another_date_after_a_preview(site, sign_in):
    site.ward.enrol()
    site.ward.run(minutes=10)
    page = sign_in("Ann Lee", "/readiness")
    page.get_by_role("link", name="Rosalind Vale").click()
    page.get_by_text("Change date or time").click()
    page.get_by_label("Day of surgery").fill("2027-03-22")
    page.get_by_role("button", name="Show what will happen").first.click()
    page.get_by_text("Re-timed (").wait_for()
    assert page.get_by_text("Nothing is stored or sent yet").is_visible()
    assert site.ward.app.chart(1).operation.surgery.on == date(2027, 3, 15)
    page.get_by_role("button", name="Confirm").click()
    page.get_by_text("The change is stored").wait_for()
    assert page.get_by_text("Mon 22 Mar 2027").first.is_visible()
    assert site.ward.app.chart(1).operation.surgery.on == date(2027, 3, 22)


def test_a_sunday_is_confirmed_with_a_tick(site, sign_in):
    site.ward.enrol()
    page = sign_in("Ann Lee", "/patients/1")
    page.get_by_text("Change date or time").click()
    page.get_by_label("Day of surgery").fill("2027-03-21")
    page.get_by_role("button", name="Show what will happen").first.click()
    page.get_by_text("is a Sunday").wait_for()
    page.get_by_role("button", name="Confirm").click()
    assert page.url.endswith("/change/preview"), "without the tick the browser sends nothing"
    page.get_by_label("Yes, this is right").check()
    page.get_by_role("button", name="Confirm").click()
    page.get_by_text("The change is stored").wait_for()


def test_a_schedule_with_two_bad_rows_takes_in_the_others(site, sign_in):
    page = sign_in("Ann Lee", "/enrol")
    page.get_by_text("Many at once").click()
    file = {"name": "schedule.csv", "mimeType": "text/csv", "buffer": CSV.encode()}
    page.get_by_label("Schedule", exact=True).set_input_files(file)
    page.get_by_role("button", name="Check the file").click()
    page.get_by_text("2 rows cannot").wait_for()
    assert site.ward.app.everyone() == []
    page.get_by_label("Line 3: yes, it is right").check()
    page.get_by_role("button", name="Take in the good rows").click()
    page.get_by_text("2 enrolled").wait_for()
    assert site.ward.app.find("P-901") and site.ward.app.find("P-902")
    assert not site.ward.app.find("P-903") and not site.ward.app.find("P-904")


def test_a_thread_is_read_with_how_it_was_understood(site, sign_in):
    site.ward.enrol()
    site.ward.run(minutes=10)
    site.ward.says("I have a fever of 101.5")
    page = sign_in("Ann Lee", "/patients/1")
    said = page.get_by_role("listitem").filter(has_text="the patient wrote")
    assert said.get_by_text("I have a fever of 101.5").is_visible()
    assert said.get_by_text("Understood as:").is_visible()
    strip = page.get_by_role("img", name="Countdown of Rosalind Vale")
    assert strip.bounding_box()["width"] > 300


@pytest.mark.parametrize("width", [1280, 390])
def test_a_qr_code_is_whole_and_large_enough_to_be_scanned(site, sign_in, width):
    site.ward.enrol()
    page = sign_in("Ann Lee", "/account", width=width)
    page.get_by_role("button", name="Set it up").click()
    code = page.locator("svg.segno")
    drawn = code.locator("path").last.bounding_box()
    paper = code.bounding_box()
    for start, size in (("x", "width"), ("y", "height")):
        assert paper[start] <= drawn[start]
        assert drawn[start] + drawn[size] <= paper[start] + paper[size]
        assert drawn[size] > 150


LUMINANCE = """one => {
  const canvas = document.createElement("canvas").getContext("2d");
  canvas.fillStyle = getComputedStyle(one).fill;
  canvas.fillRect(0, 0, 1, 1);
  const [red, green, blue] = [...canvas.getImageData(0, 0, 1, 1).data].map((part) =>
    part / 255 <= 0.04045 ? part / 255 / 12.92 : ((part / 255 + 0.055) / 1.055) ** 2.4);
  return 0.2126 * red + 0.7152 * green + 0.0722 * blue;
}"""


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_the_strip_is_dark_on_a_dark_page_and_can_be_read(site, sign_in, dark):
    # WCAG 2.2, 1.4.3 and 1.4.11: text 4.5 to 1, signs 3 to 1 to what they stand on.
    site.ward.enrol()
    site.ward.run(minutes=10)
    page = sign_in("Ann Lee", "/patients/1", dark=dark)
    strip = page.get_by_role("img", name="Countdown of Rosalind Vale")
    paper = strip.locator("rect").first.evaluate(LUMINANCE)
    assert paper < 0.05 if dark else paper > 0.9
    for kind, least in (("text", 4.5), ("g > circle[fill*=good]", 3.0)):
        for one in strip.locator(kind).all():
            ink = one.evaluate(LUMINANCE)
            assert (max(ink, paper) + 0.05) / (min(ink, paper) + 0.05) >= least


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_previews_grid_and_content_break_no_rule(site, sign_in, open_page, rules, dark):
    site.ward.enrol()
    site.ward.run(minutes=10)
    found = {}
    page = sign_in("Ann Lee", "/readiness?view=grid", dark=dark)
    found["grid"] = broken(page, rules)
    page.goto(site.url + "/patients/1")
    page.get_by_text("Change date or time").click()
    page.get_by_label("Day of surgery").fill("2027-03-21")
    page.get_by_role("button", name="Show what will happen").first.click()
    found["change"] = broken(page, rules)
    page.goto(site.url + "/enrol")
    page.get_by_text("Many at once").click()
    file = {"name": "schedule.csv", "mimeType": "text/csv", "buffer": CSV.encode()}
    page.get_by_label("Schedule", exact=True).set_input_files(file)
    page.get_by_role("button", name="Check the file").click()
    found["schedule"] = broken(page, rules)
    page = open_page("/sign-in", dark=dark)  # an educator begins on another page than a nurse
    page.get_by_label("Your name").fill("Edie Cole")
    page.get_by_label("Password").fill("four plain words suffice")
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("link", name="Content", exact=True).click()
    page.get_by_role("heading", name="Content:").wait_for()
    found["content"] = broken(page, rules)
    assert {where: what for where, what in found.items() if what} == {}
