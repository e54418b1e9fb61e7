"""What is stored of a secret that this program made: enough to know it again, not to tell it."""

from hashlib import sha256


def hashed(secret: str) -> str:
    """The hash of a secret of 112 random bits or more, so that a plain one gives nothing away.

    The bound is ASVS 5.0, 6.5.2. A password has fewer and is hashed elsewhere, slowly.
    """
    return sha256(secret.encode()).hexdigest()
