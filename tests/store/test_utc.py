from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy.dialects import postgresql, sqlite

from bot.store.utc import Utc, instant_to_text, text_to_instant

EARLY, LATE = datetime(2000, 1, 1), datetime(2100, 1, 1)  # noqa: DTZ001
NAIVE = datetime(2027, 3, 1)  # noqa: DTZ001
ZONES = st.sampled_from(["America/New_York", "Europe/Madrid", "UTC", "Pacific/Apia"])


@given(st.datetimes(allow_imaginary=True, min_value=EARLY, max_value=LATE), ZONES)
def test_an_instant_comes_back_as_the_same_instant_in_utc(naive, zone):
    instant = naive.replace(tzinfo=ZoneInfo(zone))
    for dialect in (sqlite.dialect(), postgresql.dialect()):
        bound = Utc().process_bind_param(instant, dialect)
        back = Utc().process_result_value(bound, dialect)
        assert back == instant.astimezone(UTC)
        assert back.utcoffset() == timedelta(0)


@given(st.datetimes(allow_imaginary=True, min_value=EARLY, max_value=LATE), ZONES)
def test_the_short_way_keeps_the_very_text_that_the_long_way_keeps(naive, zone):
    instant, dialect = naive.replace(tzinfo=ZoneInfo(zone)), sqlite.dialect()
    bind = Utc().dialect_impl(dialect).bind_processor(dialect)
    back = Utc().dialect_impl(dialect).result_processor(dialect, None)
    assert instant_to_text(instant) == bind(instant)
    assert text_to_instant(bind(instant)) == back(bind(instant))
    assert text_to_instant(bind(instant)).tzinfo is UTC


def test_a_time_without_a_zone_is_refused():
    with pytest.raises(ValueError, match="no time zone"):
        Utc().process_bind_param(NAIVE, sqlite.dialect())
    with pytest.raises(ValueError, match="no time zone"):
        instant_to_text(NAIVE)
