"""A story's patient as the enrolment takes them."""

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
