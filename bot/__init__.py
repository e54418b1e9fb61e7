"""The countdown coach: walks a patient from enrolment to the morning of surgery."""
