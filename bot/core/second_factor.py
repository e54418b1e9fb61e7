"""A code from the person's own phone beside the password, and codes for when the phone is lost.

Time-based codes of six digits, SHA-1 and steps of 30 seconds, as every authenticator makes them
(RFC 6238, RFC 4226). Chance is handed in as text; the same text gives the same secrets.
"""

import base64
import hashlib
import hmac
import re
from datetime import datetime

import pyotp

from bot.core.one_way import hashed

STEP = 30  # seconds; RFC 6238, 5.2
DRIFT = 1  # steps that a phone's clock may be off; RFC 6238, 5.2: at most one is recommended
ISSUER = "Surgery countdown"
HOW_MANY = 10  # recovery codes (our choice)
_SECRET_BYTES = 20  # RFC 4226, 4 R6: 160 bits are recommended
_CODE_BYTES = 15  # 120 bits: ASVS 5.0, 6.5.2, lets 112 and more be kept under a plain hash
_CODE_SIGNS = 24  # 15 bytes in base 32
_NOT_BASE32 = re.compile(r"[^A-Z2-7]")


def secret_of(chance: str) -> str:
    """The secret that an authenticator and this program share, in base 32."""
    return _base32(f"secret {chance}", _SECRET_BYTES)


def link_of(secret: str, name: str) -> str:
    """What the QR code says to an authenticator."""
    return pyotp.TOTP(secret).provisioning_uri(name=name, issuer_name=ISSUER)


def step_of(secret: str, code: str, now: datetime, after: int) -> int | None:
    """The step of time whose code this is, or None.

    Only a step later than `after`, that of the last code taken: each code opens once (RFC 6238,
    5.2).
    """
    typed = "".join(code.split())
    present = int(now.timestamp()) // STEP
    found = None
    for step in range(max(present - DRIFT, 0), present + DRIFT + 1):
        same = hmac.compare_digest(pyotp.TOTP(secret).generate_otp(step).encode(), typed.encode())
        if same and step > after:
            found = step
    return found


def recovery_codes(chance: str) -> tuple[str, ...]:
    """Codes that open once each, in groups of four to be read and typed."""
    made = (_base32(f"recovery {place} {chance}", _CODE_BYTES) for place in range(HOW_MANY))
    return tuple("-".join(re.findall("....", code)).lower() for code in made)


def recovery_hash(typed: str) -> str | None:
    """What is kept of a recovery code, however it was typed; None when it cannot be one."""
    plain = _NOT_BASE32.sub("", typed.upper())
    return hashed(plain) if len(plain) == _CODE_SIGNS else None


def _base32(text: str, size: int) -> str:
    return base64.b32encode(hashlib.sha256(text.encode()).digest()[:size]).decode()
