"""The small dialogue that every side holds: the service's own first questions and answers.

It is taken down from the service as it talks with one patient: what was asked, how the answer was
read, what was said next. A peer holds it with a state for each question; its replies must come out
the same.
"""

from datetime import timedelta

from copied_patients import OPENING, START, Talk, ask_opening

CONVERSATIONS = 2_000  # kept in each store
NAME = "Rosalind Vale"


def taken_down():
    """The dialogue: for each question its kind, the answer to it, its reading, and what follows."""
    talk = Talk("sqlite://")
    ask_opening(talk)
    steps = []
    for text in OPENING:
        asked = talk.app.chart(talk.patient).conversation.open
        state = talk.app.practice.book.flows[asked.flow].states[asked.state]
        reading = talk.app.practice.read(text, state.asked, "en")
        talk.say(text)
        steps.append({
            "flow": asked.flow, "state": asked.state, "revision": asked.revision,
            "asked": str(state.asked), "text": text, "act": str(reading.act),
            "says": talk.app.threads(talk.patient)[-1].text,
        })  # fmt: skip
    talk.app.close()
    return steps


def writers(writing):
    """The numbers of the conversations that answer all questions, spread over all of them."""
    return [n * CONVERSATIONS // writing for n in range(writing)]


def phone(number):
    return f"phone-{number:09d}"


def instant(place):
    """When the place-th reply comes in."""
    return START + timedelta(hours=2, milliseconds=20 * place)


def fresh(number, steps):
    """What a peer keeps of a conversation whose first question is open."""
    first = START.isoformat()
    greeting = message_out(number, 0, steps[0]["says"], first)
    return {
        "name": NAME, "language": "en", "joint": "knee", "on": "2027-03-15",
        "open": opened(steps[0], first), "recent": [], "facts": {}, "items": {},
        "inbound": [], "reading": [], "outbound": [greeting],
    }  # fmt: skip


def opened(step, at):
    """The question that is open, as the service keeps it."""
    return {
        "flow": step["flow"], "revision": step["revision"], "state": step["state"], "asked_at": at,
        "priority": "safety", "prompt": step["flow"], "values": {"days_left": "35"}, "unread": 0,
        "nudges": 0, "rung": "patient", "rung_at": at, "closes": None,
    }  # fmt: skip


def message_out(number, version, text, at):
    """One message to send, with the columns that the service keeps."""
    return {
        "key": f"turn.{number}.{version}.patient", "to_role": "patient", "name": NAME,
        "channel": "sms", "address": phone(number), "text": text, "choices": [], "prompt": None,
        "queued_at": at, "not_after": None, "state": "queued", "attempts": 0, "provider_id": None,
    }  # fmt: skip


def answered(steps, nth, number, text, reading, at):
    """What one reply adds: (its rows, what changes of the conversation), or None: not understood.

    `reading` is the reader's; the next question is decided by it.
    """
    step = steps[nth]
    if str(reading.act) != step["act"]:
        return None
    rows = {
        "inbound": {"id": f"{number:09d}.m{nth}", "address": phone(number), "text": text,
                    "by_role": "patient", "received_at": at, "handled_at": at},
        "reading": {"asked": step["asked"], "act": str(reading.act), "also": list(reading.also),
                    "symptoms": list(reading.symptoms), "alert": reading.alert,
                    "because": list(reading.because)},
        "outbound": message_out(number, nth + 1, step["says"], at),
    }  # fmt: skip
    following = steps[nth + 1] if nth + 1 < len(steps) else None
    changes = {
        "open": opened(following, at) if following else None,
        "closed": {**opened(step, at), "answered": text},
        "item": (step["flow"], {"value": "done", "by": "patient", "at": at}),
        "fact": (step["flow"], {"value": text, "source": "patient", "at": at}),
    }
    return rows, changes


def keep(data, rows, changes):
    """Put what a reply adds into what a peer keeps of the conversation."""
    for table, row in rows.items():
        data[table].append(row)
    change(data, changes)


def change(data, changes):
    """The conversation without its log."""
    data["open"] = changes["open"]
    data["recent"] = [*data["recent"], changes["closed"]]
    data["items"][changes["item"][0]] = changes["item"][1]
    data["facts"][changes["fact"][0]] = changes["fact"][1]
