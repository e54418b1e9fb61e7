"""Which passwords will do for an account.

Length first, no rules of composition, and nothing that a guesser tries early: the commonest
passwords, repeats, sequences and rows of keys, the person's own name, the hospital's, words of this
trade (NIST SP 800-63B, 3.1.1.2, from memory; OWASP ASVS 5.0, 6.2).
"""

from collections.abc import Iterable

from zxcvbn import zxcvbn

SHORTEST = 15  # ASVS 6.2.1: at least 8, strongly 15 where there is no second factor
LONGEST = 200  # ASVS 6.2.9 wants 64 and more to be accepted
_JUDGED = 72  # signs that the estimate looks at; more make no password worse
_ENOUGH = 4  # of 0 to 4: more than 10^10 guesses (our choice; the library's highest step)
_OWN = 8  # signs that must be left without names and words of this trade (our choice)
_TRADE = ("password", "surgery", "hospital", "countdown", "nurse", "clinic", "replacement")


def password_fault(password: str, name: str, hospital: str = "") -> str | None:
    """Say what is wrong with a new password and what to do, or None.

    `name` is whose account it is; `hospital` as the rules call it.
    """
    if len(password) < SHORTEST:
        return f"It needs at least {SHORTEST} signs. Four unrelated words do well."
    if len(password) > LONGEST:
        return f"It may have at most {LONGEST} signs."
    expected = {word for word in f"{name} {hospital}".casefold().split() if len(word) > 1}
    if len(_without(password.casefold(), (*_TRADE, *expected))) < _OWN:
        return (
            "It is mostly your name, the hospital's or a word of this trade."
            " Add words nobody expects."
        )
    return _guessed(password[:_JUDGED], expected)


def _without(plain: str, words: Iterable[str]) -> str:
    for word in words:
        plain = plain.replace(word, "")
    return "".join(plain.split())


def _guessed(password: str, expected: Iterable[str]) -> str | None:
    judged = zxcvbn(password, user_inputs=list(expected))
    if judged["score"] >= _ENOUGH:
        return None
    why = judged["feedback"]["warning"].rstrip(".") or "few guesses are needed to find it"
    return f"It is easy to guess: {why[0].lower()}{why[1:]}. Take four unrelated words."
