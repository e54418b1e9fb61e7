"""Where the time of one reply goes: the share of each step, least disturbed by other programs.

    .venv/bin/python tests/benchmarks/reply_steps.py [times]

Each reply of a small clinic is handled many times over and rolled back each time; of each step the
least CPU time counts. So it is the cost of the program without the commit and without waiting.
Steps that contain others are marked by indentation.
"""

import functools
import sys
import tempfile
import time
from collections import Counter, defaultdict
from datetime import timedelta

from bench_services import WARM, Clinic

from bot.core import dialogue
from bot.service import chart, effects, inbound, mail, planning, turns
from bot.store import charts, conversations, inbox, items, outbox, patients, plans

PATIENTS, ROUNDS = 12, 8
STEPS = (
    (patients, "people_at", "whose address it is"),
    (inbox, "put_inbound", "message into the inbox"),
    (inbound, "load_chart", "the chart"),
    (charts, "head_of", "  patient, surgery, stored chat: one statement"),
    (chart, "conversation_from_json", "  the chat out of JSON"),
    (patients, "facts_of", "  facts"),
    (items, "items_of", "  items"),
    (inbox, "put_reading", "the reading stored"),
    (turns, "context", "what a step may look at"),
    (turns, "step", "the step"),
    (dialogue, "_hear", "  the message on its thread"),
    (turns, "apply_effects", "items, facts, consents, cases stored"),
    (effects, "raise_cases", "  cases"),
    (turns, "load_chart", "the chart again, where planning may have to follow"),
    (planning, "plan", "planning anew"),
    (planning, "_made", "  the countdown made"),
    (plans, "kept_prompts", "  the stored countdown read"),
    (turns, "conversation_to_json", "the chat into JSON"),
    (conversations, "save_conversation", "the chat stored"),
    (mail, "post", "the answer"),
    (mail, "_text", "  its text filled in"),
    (outbox, "queue", "  into the outbox"),
)


class Stopwatch:
    """CPU time of each step within one run."""

    def __init__(self):
        self.spent = Counter()
        for module, name, what in STEPS:
            setattr(module, name, self._timed(getattr(module, name), what))

    def _timed(self, deed, what):
        @functools.wraps(deed)
        def timed(*args, **kwargs):
            began = time.process_time_ns()
            try:
                return deed(*args, **kwargs)
            finally:
                self.spent[what] += time.process_time_ns() - began

        return timed

    def run(self, app, incoming, now):
        """Handle one message, undo it, and give what each step took."""
        self.spent.clear()
        with app.engine.connect() as connection:
            transaction = connection.begin()
            began = time.process_time_ns()
            inbound._take_in(app.practice, connection, incoming, now)
            self.spent["all"] = time.process_time_ns() - began
            transaction.rollback()
        return Counter(self.spent)


def least(runs):
    """The least that each step took in any of the runs."""
    return {what: min(run[what] for run in runs) for what in set().union(*runs)}


def main(times=15):
    watch, found = Stopwatch(), defaultdict(list)
    with tempfile.TemporaryDirectory() as folder:
        clinic = Clinic(folder, PATIENTS)
        clinic.enrol(0)
        for number in range(WARM + ROUNDS):
            clinic.fire(3)
            clinic.now += timedelta(milliseconds=20)
            for i in range(PATIENTS if number >= WARM else 0):
                said = clinic.said(number, i)
                spent = least([watch.run(clinic.app, said, clinic.now) for _ in range(times)])
                found["planning anew" in spent].append(spent)
            clinic.answer(number, 1)
        clinic.app.close()
    for planned, replies in found.items():
        report("that plan anew" if planned else "that leave the plan as it is", replies)


def report(kind, replies):
    whole = sum(spent["all"] for spent in replies)
    print(f"{len(replies)} replies {kind}: {whole / len(replies) / 1e6:.2f} ms each, of which")
    for what in (step[2] for step in STEPS):
        share = sum(spent.get(what, 0) for spent in replies) / whole
        print(f"  {what:52}{share:7.1%}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
