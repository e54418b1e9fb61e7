"""Takes the pictures of every page for docs/screens, on a desktop and on a phone.

    .venv/bin/python tests/web/browser/take_screens.py

It runs the pictures below as tests, on a made-up clinic with a clock of its own.
"""

import sys
from datetime import date, time
from io import BytesIO
from pathlib import Path

import pytest
from educator_steps import OLD, begin, change, enter, try_it

from bot.core.copies import CopyLevel
from bot.core.protocol import MedicineHold

SCREENS = Path(__file__).resolve().parents[3] / "docs" / "screens"
SIZES = {"desktop": 1280, "phone": 390}
CSV = """patient_id,name,phone,born,joint,side,surgery_date,surgeon,start_time
P-901,Walter Brandt,+1-202-555-0181,1953-04-02,knee,left,2027-03-16,Dr. Ana Quill,07:30
P-902,Elena Marrero,+1-202-555-0182,1960-11-19,hip,right,2027-03-21,Dr. Leo Marsh,
P-903,Harold Finch,12345,1948-01-27,hip,left,2027-03-17,Dr. Leo Marsh,10:15
P-904,Doris Achter,+1-202-555-0184,1956-07-08,elbow,right,3/4/2027,Dr. Ana Quill,13:15
"""


def lively(ward) -> dict[str, int]:
    """The ward's morning, three weeks on: answers, washes asked, a coach, medicines, a move."""
    ids = ward.morning()
    care = ward.app.care
    care.add_medicine_hold(
        2,
        MedicineHold("apixaban", date(2027, 2, 15), "Dr. Priya Anand", "None after Monday evening"),
        "Ann Lee",
    )
    care.add_coach(2, "Ruth Finch", "sms", "+12025550171", CopyLevel.REMINDERS, "Ann Lee")
    ward.run(minutes=5)
    ward.says("yes I will", "+12025550171")
    for answer in ("1", "yes", "done", "I don't know what you mean", "1", "my daughter drives me"):
        ward.run(hours=5)
        ward.says(answer, ward.phone(2))
    care.mark_done_by_phone(2, "blood_tests", "Ann Lee")
    care.mark_done_by_phone(2, "pets", "Bo Marsh", "not_needed")
    care.mark_done_by_phone(4, "ride", "Bo Marsh")
    care.move_surgery(7, date(2027, 3, 8), "Bo Marsh", time(9, 15))
    ward.run(days=1)
    return ids


def save(page, name: str, shrink: bool = True) -> None:
    """A small PNG: 96 colours are enough for text."""
    from PIL import Image

    SCREENS.mkdir(parents=True, exist_ok=True)
    image = Image.open(BytesIO(page.screenshot(full_page=True, timeout=90_000))).convert("RGB")
    image = image.crop((0, 0, image.width, min(image.height, 3200)))
    image.quantize(96).save(SCREENS / f"{name}.png", optimize=True)


@pytest.mark.parametrize("size", SIZES)
def test_pictures(site, sign_in, open_page, size):
    width = SIZES[size]
    ids = lively(site.ward)
    page = open_page("/sign-in", width=width)
    save(page, f"sign-in-{size}")
    page = sign_in("Ann Lee", width=width)
    save(page, f"needs-you-{size}")
    for name, path in {
        "readiness": "/readiness",
        "readiness-grid": "/readiness?view=grid",
        "patient": "/patients/2",
        "handout": "/patients/2/handout",
        "enrol": "/enrol",
        "report": "/report",
        "escalation": f"/escalations/{min(ids.values())}",
        "log": "/log",
        "handover": "/handover",
        "account": "/account",
    }.items():
        page.goto(site.url + path)
        page.wait_for_load_state("networkidle")
        save(page, f"{name}-{size}")
    preview(page, site, size)
    schedule(page, site, size)
    coach_link(page, site, size)
    dark = sign_in("Ann Lee", "/patients/2", width=width, dark=True)
    save(dark, f"patient-dark-{size}")
    dark.goto(site.url)
    save(dark, f"needs-you-dark-{size}")


@pytest.mark.parametrize("size", SIZES)
def test_pictures_of_a_draft(site, open_page, size):
    lively(site.ward)
    page = enter(open_page, width=SIZES[size])
    save(page, f"content-{size}")
    begin(page)
    change(page, OLD, "Hello {nobody}.")
    page.get_by_text("To mend it:").first.wait_for()
    save(page, f"draft-file-{size}")
    change(page, "Hello {nobody}.", OLD.replace("wax or clip", "wax or cut"))
    page.get_by_text("No faults").wait_for()
    try_it(page, "I have a small cut there")
    save(page, f"draft-try-{size}")
    page.get_by_role("link", name="The draft").click()
    page.get_by_role("button", name="See which patients").click()
    page.get_by_text("would be touched").wait_for()
    save(page, f"draft-{size}")


def preview(page, site, size) -> None:
    """A change of date, shown before it is confirmed."""
    page.goto(site.url + "/patients/2")
    page.get_by_text("Change date or time").click()
    page.get_by_label("Day of surgery").fill("2027-03-21")
    page.get_by_role("button", name="Show what will happen").first.click()
    save(page, f"change-{size}")


def schedule(page, site, size) -> None:
    """A schedule with two bad rows and one question."""
    page.goto(site.url + "/enrol")
    page.get_by_text("Many at once").click()
    file = {"name": "schedule.csv", "mimeType": "text/csv", "buffer": CSV.encode()}
    page.get_by_label("Schedule", exact=True).set_input_files(file)
    page.get_by_role("button", name="Check the file").click()
    save(page, f"enrol-file-{size}")


def coach_link(page, site, size) -> None:
    """The page by which a coach without a number comes to the chat."""
    ward = site.ward
    ward.app.telegram_bot = "countdown_example_bot"
    patient = ward.enrol(20, "Nora Whitfield", born=date(1951, 3, 14))
    ward.app.care.add_coach(
        patient, "Owen Whitfield", "telegram", "", CopyLevel.REMINDERS, "Ann Lee"
    )
    page.goto(f"{site.url}/patients/{patient}")
    page.get_by_role("button", name="Make a link for Owen Whitfield").click()
    save(page, f"coach-link-{size}")


if __name__ == "__main__":
    sys.exit(pytest.main([__file__, "-q", "-p", "no:cacheprovider", *sys.argv[1:]]))
