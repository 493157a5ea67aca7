"""What a failed write means: by HTTP status, by Retry-After, by the network's error."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from urllib3.exceptions import NameResolutionError, ReadTimeoutError

from chamberwatch.series.faults import LONGEST_WAIT_S, SETTINGS_WAIT_S, Act, of_network, of_status, rest_s

NOW_S = 784_111_777.0
"""1994-11-06T08:49:37Z, the date RFC 9110 section 5.6.7 writes in its three forms (from memory)."""


@pytest.mark.parametrize(
    ("status", "act", "wait_s", "shaken"),
    [
        (400, Act.SPLIT, None, False),
        (422, Act.SPLIT, None, False),
        (413, Act.SHRINK, None, False),
        (401, Act.WAIT, SETTINGS_WAIT_S, False),
        (403, Act.WAIT, SETTINGS_WAIT_S, False),
        (404, Act.WAIT, SETTINGS_WAIT_S, False),
        (301, Act.WAIT, SETTINGS_WAIT_S, False),
        (429, Act.WAIT, None, False),
        (500, Act.WAIT, None, True),
        (502, Act.WAIT, None, True),
        (503, Act.WAIT, None, True),
        (418, Act.WAIT, None, False),
    ],
)
def test_every_status_has_its_treatment(status, act, wait_s, shaken):
    """A bad row is searched for, a wrong setting is not hammered, a server in trouble is waited for."""
    fault = of_status(status, None, "")
    assert (fault.act, fault.wait_s, fault.shaken) == (act, wait_s, shaken)
    assert str(status) in fault.words


def test_the_servers_own_words_are_passed_on():
    """Whoever reads the status sees what the server said."""
    assert of_status(400, None, "field type conflict").words.endswith(": field type conflict")


@pytest.mark.parametrize(
    ("header", "wait_s"),
    [
        ("7", 7.0),
        ("0", 0.0),
        ("99999999", LONGEST_WAIT_S),
        ("Sun, 06 Nov 1994 08:50:07 GMT", 30.0),
        ("Sun, 06 Nov 1994 08:00:00 GMT", 0.0),
        ("soon", None),
        ("", None),
        ("-5", None),
        (None, None),
    ],
)
def test_retry_after_is_read_in_both_its_forms(header, wait_s):
    """Seconds or a date (RFC 9110 section 10.2.3, from memory); nonsense is as good as nothing."""
    assert of_status(503, header, "", now_s=NOW_S).wait_s == wait_s


@given(st.text())
def test_no_header_breaks_anything(header):
    """Any text in the header gives a wait within bounds or none."""
    wait_s = of_status(429, header, "", now_s=NOW_S).wait_s
    assert wait_s is None or 0 <= wait_s <= LONGEST_WAIT_S


def test_the_networks_errors_are_told_in_words():
    """A name that is not known reads differently from a server that does not answer."""
    unknown = of_network(NameResolutionError("nowhere.invalid", None, OSError()), "http://nowhere.invalid")
    slow = of_network(ReadTimeoutError(None, "/", "timed out"), "http://10.0.0.9")
    assert unknown.words == "no answer from http://nowhere.invalid: its name is not known"
    assert slow.words == "no answer from http://10.0.0.9: it took the rows but does not answer in time"
    assert of_network(OSError("x"), "http://10.0.0.9").words.endswith("OSError")
    assert unknown.shaken
    assert slow.shaken


@given(failures=st.integers(1, 10**6), chance=st.floats(0, 1))
def test_a_rest_is_never_longer_than_its_cap(failures, chance):
    """No number of failures overflows or outgrows the longest rest."""
    assert 4.0 <= rest_s(failures, chance, 5.0, 900.0) <= 900.0
