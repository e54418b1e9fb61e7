"""What all sides do with due prompts: how many, how many more wait, what is stored of each."""

import copied_patients

DUE = 400
PATIENTS = 600  # with DUE of them due, about 23,000 prompts of theirs are still to come
BACKLOG = 23_000  # future jobs of a peer
TEXT = (
    "Vaccines, such as flu or pneumonia, are not a must. If you want one, ask your own doctor."
    " Get it two weeks or more before {day}. What is your plan, {name}?"
)
COLUMNS = (
    "key TEXT PRIMARY KEY, to_role TEXT, name TEXT, channel TEXT, address TEXT, text TEXT,"
    " choices TEXT, prompt_key TEXT, queued_at TEXT, not_after TEXT, state TEXT, reason TEXT,"
    " attempts INTEGER, changed_at TEXT, provider_id TEXT"
)
AT = copied_patients.DUE.isoformat()


def sent_message(number):
    """The row of one prompt's message, worded and sent: the columns that the service keeps."""
    text = TEXT.format(day="Monday, March 15", name="Rosalind")
    return (
        f"turn.{number}.12.patient", "patient", "Rosalind Vale", "sms", f"phone-{number:09d}", text,
        '["Yes","No"]', "vaccines", AT, AT, "sent", "", 1, AT, f"sms-{number}",
    )  # fmt: skip
