"""Works out from the logs alone what should have happened, and compares it with what did."""

from dataclasses import dataclass

from bot.simulate import audit_liveness as liveness
from bot.simulate import audit_safety as safety
from bot.simulate import audit_timetable as times
from bot.simulate.evidence import Evidence
from bot.simulate.findings import Check, Findings
from bot.simulate.lives import lives


@dataclass(frozen=True, slots=True)
class Audited:
    """What was found, and how many askings of the timetable had to be on record."""

    findings: Findings
    askings: int


def audit(logs: Evidence, check: Check = Check.BOTH) -> Audited:
    """Compare the record with the phones' and the provider's own logs, and with the timetable."""
    found, askings = Findings(), 0
    compared, everyone = times.compare(logs), list(lives(logs))
    if check is not Check.LIVENESS:
        found.doubled.extend(safety.doubled(logs))
        found.out_of_order.extend(safety.out_of_order(logs))
        found.after_stop.extend(safety.after_stop(logs))
        found.without_consent.extend(safety.without_consent(logs, everyone))
        for life in everyone:
            found.at_wrong_times.extend(times.at_wrong_times(compared, life))
            found.at_wrong_times.extend(times.at_night(compared, life))
            found.stale.extend(times.stale(compared, life))
            found.stale.extend(times.messages(compared, life))
    if check is not Check.SAFETY:
        found.lost.extend(liveness.lost(logs))
        found.alarms_unanswered.extend(liveness.alarms_unanswered(logs))
        for life in everyone:
            found.not_asked.extend(times.not_asked(compared, life))
            askings += sum(1 for _ in times.required(compared, life))
    found.stuck.extend(logs.stuck)
    return Audited(found, askings)
