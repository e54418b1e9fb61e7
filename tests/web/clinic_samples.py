"""The day on which the page's tests begin, and the operation that they look ahead to."""

from datetime import UTC, date, datetime, time

from bot.core.protocol import Surgery

MONDAY = datetime(2027, 2, 8, 15, tzinfo=UTC)  # 10:00 in New York, five weeks before surgery
KNEE = Surgery("knee", "right", date(2027, 3, 15), "America/New_York", time(7, 30))
