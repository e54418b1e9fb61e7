"""The day on which the page's tests begin, the operation that they look ahead to, cheap hashes."""

from datetime import UTC, date, datetime, time

from pwdlib.hashers.argon2 import Argon2Hasher

from bot.core.protocol import Surgery
from bot.service.signing_in import Passwords

MONDAY = datetime(2027, 2, 8, 15, tzinfo=UTC)  # 10:00 in New York, five weeks before surgery
KNEE = Surgery("knee", "right", date(2027, 3, 15), "America/New_York", time(7, 30))
QUICK = Passwords(Argon2Hasher(time_cost=1, memory_cost=8, parallelism=1))
