"""What nobody did in time: escalations past the time allowed, a start time still missing."""

from datetime import datetime
from functools import partial

from bot.core.conversation import Escalate
from bot.core.escalation import look_again
from bot.core.on_call import is_to_look_again
from bot.service.apart import AGAIN, apart
from bot.service.cases import due, notify, raise_case, save
from bot.service.chart import load_chart
from bot.service.desk import Desk
from bot.service.practice import Practice
from bot.store import escalations, patients, surgeries
from bot.store.engine import reading, writing

BATCH = 200


def climb_all(practice: Practice, now: datetime, failed: list[str]) -> int:
    """Tell the next contact of every case past its time; return how many were told.

    A case that cannot be read is put into `failed` and tried again later; the others go on.
    """
    with reading(practice.engine) as connection:
        late = escalations.overdue(connection, now, BATCH)
    told = 0
    for case, patient in late:
        again = partial(escalations.put_off, case=case, until=now + AGAIN)
        with apart(practice, f"escalation {case}", again, failed):
            told += _climb(practice, case, patient, now)
    return told


def _climb(practice: Practice, case_id: int, patient: int, now: datetime) -> bool:
    """One case, one transaction; a nurse may have acted since it was listed.

    A patient whom another worker has in hand is left for the next round.
    """
    with writing(practice.engine) as connection:
        if not patients.lock_if_free(connection, patient):
            return False
        desk = Desk(connection, practice, load_chart(connection, practice, patient), now)
        case = escalations.load_case(connection, case_id)
        deadline = due(desk, case)
        if deadline is None or deadline > now:
            save(desk, case, len(case.entries))
            return False
        if is_to_look_again(case, now):
            notify(desk, look_again(case, now), len(case.entries))
        else:
            notify(desk, case, len(case.entries), onward=True)
        return True


def tell_missing_starts(practice: Practice, now: datetime, failed: list[str]) -> None:
    """By noon the day before, a start time that nobody entered becomes the nurse's matter."""
    with reading(practice.engine) as connection:
        missing = surgeries.starts_missing(connection, now)
    for patient in missing:
        again = partial(surgeries.put_off_nurse_due, patient=patient, until=now + AGAIN)
        with apart(practice, f"start time of patient {patient}", again, failed):
            _tell_missing_start(practice, patient, now)


def _tell_missing_start(practice: Practice, patient: int, now: datetime) -> None:
    with writing(practice.engine) as connection:
        patients.lock(connection, patient)
        chart = load_chart(connection, practice, patient)
        by = chart.operation.nurse_due
        if by is None or by > now:
            return  # another worker, or whoever entered the time, was first
        surgeries.set_nurse_due(connection, chart.operation.id, None)
        raise_case(Desk(connection, practice, chart, now), Escalate("start_missing", ""))
