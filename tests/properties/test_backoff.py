"""The pauses between attempts to open a port."""

from itertools import islice

from hypothesis import given
from hypothesis import strategies as st

from chamberwatch.ingest.serial_port import backoff_s


@given(st.floats(0.01, 10), st.floats(1, 1000), st.integers(1, 2000))
def test_pauses_double_up_to_a_cap_and_spread(first_s, times, count):
    """Each pause lies between half and all of first·2^n, never above the cap, however many attempts are made."""
    last_s = first_s * times
    for n, pause_s in enumerate(islice(backoff_s(first_s, last_s), count)):
        full_s = min(first_s * 2.0 ** min(n, 60), last_s)
        assert full_s / 2 <= pause_s <= full_s
