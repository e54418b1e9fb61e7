"""What a coach may see: the patient's consent, in three levels."""

from enum import StrEnum

from bot.core.conversation import Copy


class CopyLevel(StrEnum):
    """How much the patient agreed to share with one coach."""

    EVERYTHING = "everything"
    REMINDERS = "reminders"  # what was asked and done, never a health answer
    TROUBLE_ONLY = "trouble_only"  # only when the patient is silent or in trouble


def may_copy(copy: Copy, level: CopyLevel) -> bool:
    """Say whether this copy may go to a coach with that level.

    In doubt it may not: a copy too few can be asked for, a copy too many cannot be taken back.
    """
    match level:
        case CopyLevel.EVERYTHING:
            return True
        case CopyLevel.REMINDERS:
            return not copy.health
        case CopyLevel.TROUBLE_ONLY:
            return copy.trouble


def copy_line(copy: Copy, level: CopyLevel) -> str | None:
    """The wording line of the copy that a coach with that level gets, or None for no copy.

    A copy with a `discreet` line is about trouble: everyone learns that help is needed and whom to
    call, and only a coach who may see everything gets the line that can name what it is.
    """
    if level is CopyLevel.EVERYTHING:
        return copy.line
    if copy.discreet is not None:
        return copy.discreet
    return copy.line if may_copy(copy, level) else None


def may_ask_coach(level: CopyLevel, *, health: bool) -> bool:
    """Say whether a coach may be asked in the patient's place about an unanswered question.

    Asking shows that the patient is silent, which is trouble; a question about symptoms would also
    show what is being asked about, so it needs more than reminders.
    """
    return level is not CopyLevel.REMINDERS or not health
