"""A story's patients as the enrolment takes them."""

from bot.core.copies import CopyLevel
from bot.core.protocol import MedicineHold, Surgery
from bot.play.phones import NAME
from bot.play.scenario import Scenario
from bot.service.enrolment import CoachWish, Enrolment


def enrolment(story: Scenario) -> Enrolment:
    """The story's patient as the enrolment takes them."""
    patient, surgery, coach = story.patient, story.surgery, story.coach
    return Enrolment(
        reference=story.scenario,
        name=patient.name,
        channel=NAME,
        address=patient.phone,
        surgery=Surgery(surgery.joint, surgery.side, surgery.on, story.zone, surgery.starts_at),
        surgeon=surgery.surgeon,
        born=patient.born,
        language=patient.language,
        facts=patient.facts,
        holds=tuple(MedicineHold(**hold.model_dump()) for hold in patient.holds),
        agreed=patient.consent,
        coach=CoachWish(coach.name, NAME, coach.phone, CopyLevel(coach.copies), coach.language)
        if coach and not coach.named_by_patient
        else None,
    )


def second_enrolment(story: Scenario) -> Enrolment | None:
    """The patient who shares the telephone of the first, if the story has one."""
    second = story.second
    if second is None:
        return None
    surgery = second.surgery
    return Enrolment(
        reference=f"{story.scenario}-2",
        name=second.name,
        channel=NAME,
        address=story.patient.phone,
        surgery=Surgery(surgery.joint, surgery.side, surgery.on, story.zone, surgery.starts_at),
        surgeon=surgery.surgeon,
        born=second.born,
        language=second.language,
        agreed=story.patient.consent,
        shared=True,
    )
