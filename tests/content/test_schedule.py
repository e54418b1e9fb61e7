"""Good rows are kept; each bad cell is named with line, column, reason and mend."""

import pytest

from bot.content.schedule import Schedule, parse_schedule, read_schedule

HEADER = (
    "patient_id,name,phone,born,joint,side,surgery_date,surgeon,start_time,coach_name,coach_phone"
)
GOOD = "P1,Ada Brook,+1-202-555-0101,1950-02-03,knee,left,2027-03-15,Dr. Calloway,07:30,,"


def parse(*rows: str, header: str = HEADER) -> Schedule:
    return parse_schedule("\n".join((header, *rows)) + "\n", "America/New_York")


def test_a_good_row_is_read_whole():
    (row,) = parse(GOOD).rows
    assert (row.patient_id, row.phone, row.surgery_on.isoformat()) == (
        "P1",
        "+12025550101",
        "2027-03-15",
    )
    assert row.starts_at is not None and row.starts_at.isoformat() == "07:30:00"
    assert row.zone == "America/New_York" and row.coach is None


@pytest.mark.parametrize(
    ("column", "cell", "says"),
    [
        ("phone", "12", "not a telephone number"),
        ("born", "1950-02-30", "not a date"),
        ("surgery_date", "3/4/2027", "month first or day first"),
        ("surgery_date", "2/30/2027", "not a day of the calendar"),
        ("joint", "ankle", "hip, knee"),
        ("side", "both", "left, right"),
        ("start_time", "7am", "07:30"),
        ("surgeon", "", "Fill it in"),
        ("coach_phone", "none", "not a telephone number"),
    ],
)
def test_a_bad_cell_names_line_column_reason_and_mend(column: str, cell: str, says: str):
    names = HEADER.split(",")
    cells = GOOD.split(",")
    cells[names.index(column)] = cell
    schedule = parse(GOOD.replace("P1", "P0"), ",".join(cells))
    assert [row.patient_id for row in schedule.rows] == ["P0"]
    faults = [str(f) for f in schedule.faults if f.column == column]
    assert len(faults) == 1
    assert faults[0].startswith(f"line 3, column {column}: ")
    assert says in faults[0]


def test_an_unambiguous_us_date_is_read():
    (row,) = parse(GOOD.replace("2027-03-15", "3/15/2027")).rows
    assert row.surgery_on.isoformat() == "2027-03-15"


def test_columns_may_stand_in_any_order():
    names, cells = HEADER.split(","), GOOD.split(",")
    assert parse(",".join(cells[::-1]), header=",".join(names[::-1])).rows == parse(GOOD).rows


def test_a_missing_and_an_unknown_column_are_both_named():
    schedule = parse(header=HEADER.replace("joint", "joynt"))
    assert {(f.line, f.column) for f in schedule.faults} == {(1, "joint"), (1, "joynt")}


def test_the_same_patient_twice_is_refused_once():
    schedule = parse(GOOD, GOOD)
    assert len(schedule.rows) == 1
    assert [f.line for f in schedule.faults] == [3]


def test_holds_and_facts_are_read():
    header = HEADER + ",facts,medicine_holds"
    row = parse(
        GOOD + ",smoker=yes; age=71,warfarin | 2027-03-09 | Dr. Anand | Evening tablet",
        header=header,
    ).rows[0]
    assert row.facts == {"smoker": True, "age": 71}
    assert row.holds[0].medicine == "warfarin"
    assert row.holds[0].prescriber == "Dr. Anand"


def test_a_hold_without_a_prescriber_is_refused():
    schedule = parse(GOOD + ",warfarin | 2027-03-09 |", header=HEADER + ",medicine_holds")
    assert not schedule.rows
    assert "prescriber" in str(schedule.faults[0])


def test_a_file_in_another_encoding_says_so(tmp_path):
    path = tmp_path / "schedule.csv"
    path.write_bytes((HEADER + "\n" + GOOD.replace("Brook", "Brün")).encode("latin-1"))
    schedule = read_schedule(path, "America/New_York")
    assert not schedule.rows
    assert "UTF-8" in str(schedule.faults[0])


def test_a_byte_order_mark_is_no_fault(tmp_path):
    path = tmp_path / "schedule.csv"
    path.write_text(HEADER + "\n" + GOOD + "\n", encoding="utf-8-sig")
    assert len(read_schedule(path, "America/New_York").rows) == 1


@pytest.mark.parametrize(
    ("cell", "kept"), [("paper", "paper"), ("Class", "class"), ("Form 12-B", "Form 12-B"), ("", "")]
)
def test_how_the_patient_agreed_is_read(cell, kept):
    (row,) = _with_consent(cell).rows
    assert row.consent == kept


@pytest.mark.parametrize("cell", ["no", "refused", "yes", "x"])
def test_a_no_is_not_enrolled_and_a_bare_yes_says_too_little(cell):
    schedule = _with_consent(cell)
    assert schedule.rows == ()
    assert [fault.column for fault in schedule.faults] == ["consent"]


def _with_consent(cell):
    head = "patient_id,name,phone,born,joint,side,surgery_date,surgeon,consent"
    row = f"P-1,Rosalind Vale,+12025550150,1951-03-14,knee,left,2027-03-15,Dr. Ana Quill,{cell}"
    return parse_schedule(f"{head}\n{row}\n", "America/New_York")


def test_a_language_of_the_content_may_stand_in_the_schedule_and_no_other():
    head = "patient_id,name,phone,born,joint,side,surgery_date,surgeon,language"
    row = "P-1,Rosalind Vale,+12025550150,1955-04-02,knee,left,2027-03-15,Dr. Ana Quill,vi"
    text = f"{head}\n{row}\n"
    assert parse_schedule(text, "America/New_York", ("en", "es", "vi")).rows[0].language == "vi"
    (fault,) = parse_schedule(text, "America/New_York").faults
    assert fault.column == "language"
