"""The series writer against a real time-series server, and against one that answers as told."""

from __future__ import annotations

import time

import pytest
from notify_parts import wait_until
from series_parts import Cellar, ScriptedServer, SeriesServer

from chamberwatch.model import EventState, Reading
from chamberwatch.series import SeriesPlan, SeriesWriter
from chamberwatch.series.lines import air_lines
from chamberwatch.series.writer import Pace

QUICK = Pace(first_rest_s=0.02, longest_rest_s=0.1, timeout_ms=2000)
TOKEN = "kettle-black-4711"


@pytest.fixture
def cellar(tmp_path):
    """A journal with two probes."""
    cellar = Cellar(tmp_path / "house.db")
    yield cellar
    cellar.close()


@pytest.fixture
def server(tmp_path):
    """A server that answers as told; it takes everything until then."""
    server = ScriptedServer()
    yield server
    server.close()


@pytest.fixture
def victoria(tmp_path):
    """A real time-series server."""
    folder = tmp_path / "series"
    folder.mkdir()
    server = SeriesServer(folder)
    yield server
    server.kill()


@pytest.fixture
def run(cellar):
    """Return a starter of writers that are stopped at the end."""
    running = []

    def start(server, pace=QUICK, tail=cellar.tail, every_s=0.05):
        plan = SeriesPlan(server.url, "home", "chambers", TOKEN, every_s)
        writer = SeriesWriter(plan, tail, lambda: int(time.time() * 1000), pace=pace, chance=lambda: 0.5)
        writer.start()
        running.append(writer)
        return writer

    yield start
    for writer in running:
        writer.stop(5)


def caught_up(writer):
    """Whether everything is written and nothing is wrong."""
    status = writer.status()
    return status.problem is None and status.lag_s is not None and status.lag_s < 1.0


# -- a real server ----------------------------------------------------------------------------------------


@pytest.mark.external
def test_every_reading_is_on_the_server_as_it_is_in_the_journal(cellar, victoria, run):
    """Read back row by row: 2,600 readings, halves and late ones among them, equal to the hundredth."""
    cellar.read(2_500)
    run(victoria)
    wait_until(lambda: len(victoria.air()) == 2_500)
    cellar.read(50, rh_pct=None)
    cellar.read(48, temp_c=None)
    late = [Reading("rear", cellar.start_ms + n, 11.11, 71.0, cellar.next_ms) for n in (300, 7)]
    cellar.commit(late)
    wait_until(lambda: len(victoria.air()) == 2_600)
    assert victoria.air() == cellar.air()


@pytest.mark.external
def test_an_event_is_on_the_server_once_for_each_piece_that_hung_there(cellar, victoria, run):
    """Active and returned, with two pieces, with one, with none: value, limit, duration, open or closed."""
    start_ms = cellar.start_ms
    cellar.hang("Loin 1", start_ms)
    cellar.tell("e1", start_ms + 60_000)
    cellar.hang("Neck, the big=one", start_ms + 120_000)
    cellar.tell("e2", start_ms + 180_000, state=EventState.RETURNED, value=71.5, since_ms=start_ms)
    cellar.tell("e0", start_ms - 60_000, value=None)
    cellar.read(2)
    run(victoria)
    wait_until(lambda: len(victoria.export("event_since_s")) == 4)
    base = {"chamber": "cellar", "kind": "humidity-low", "priority": "medium"}

    def labels(**more):
        return tuple(sorted((base | more).items()))

    one = labels(id="e1", state="active", piece="Loin 1")
    two = [labels(id="e2", state="returned", piece=piece) for piece in ("Loin 1", "Neck, the big=one")]
    none = labels(id="e0", state="active")
    at = {"e0": start_ms - 60_000, "e1": start_ms + 60_000, "e2": start_ms + 180_000}
    assert victoria.export("event_value") == sorted([(one, at["e1"], 58), *((t, at["e2"], 71.5) for t in two)])
    assert victoria.export("event_limit") == sorted(
        [(none, at["e0"], 70), (one, at["e1"], 70), *((t, at["e2"], 70) for t in two)]
    )
    assert victoria.export("event_since_s") == sorted(
        [(none, at["e0"], 90), (one, at["e1"], 90), *((t, at["e2"], 180) for t in two)]
    )
    assert victoria.export("event_open") == sorted(
        [(none, at["e0"], 1), (one, at["e1"], 1), *((t, at["e2"], 0) for t in two)]
    )


@pytest.mark.external
@pytest.mark.parametrize("name", ["a,b", "a=b", "a b", r"a\b", 'a"b', "#a", "Löin ½", "a#,= b"])
def test_any_name_comes_back_from_the_server_as_it_was(cellar, victoria, run, name):
    """Commas, spaces, equals signs, quotes, backslashes and letters of any alphabet survive the way."""
    cellar.hang(name, cellar.start_ms)
    cellar.tell("e1", cellar.start_ms + 1000)
    cellar.read(2)
    run(victoria)
    wait_until(lambda: victoria.export("event_value"))
    ((labels, _, _),) = victoria.export("event_value")
    assert dict(labels)["piece"] == name


@pytest.mark.external
def test_what_a_killed_server_forgot_is_written_again(cellar, victoria, run):
    """Its answer was no promise: killed right after it and started again unnoticed, it ends with every row."""
    cellar.read(600)
    writer = run(victoria, pace=QUICK._replace(again_s=0.5), every_s=0.3)
    wait_until(lambda: caught_up(writer))
    victoria.kill()
    victoria.start()
    wait_until(lambda: victoria.air() == cellar.air(), within_s=20)


@pytest.mark.external
def test_a_server_that_is_away_for_a_while_misses_nothing(cellar, victoria, run):
    """Rows committed while it was down are there after it came back."""
    cellar.read(100)
    writer = run(victoria)
    wait_until(lambda: caught_up(writer))
    victoria.kill()
    cellar.read(300)
    wait_until(lambda: writer.status().problem is not None)
    assert writer.status().problem == f"no answer from {victoria.url}: nothing answers there"
    victoria.start()
    wait_until(lambda: victoria.air() == cellar.air(), within_s=20)
    wait_until(lambda: caught_up(writer))


# -- a server that answers as told ------------------------------------------------------------------------


def air_of(cellar):
    """Return the lines of everything committed."""

    def row(r):
        return type("Row", (), {**r._asdict(), "chamber": "cellar"})

    return set(air_lines(row(r) for r in cellar.written))


def test_a_write_names_bucket_org_precision_and_token(cellar, server, run):
    """The v2 protocol's query and header; times are whole milliseconds."""
    cellar.read(1)
    run(server)
    wait_until(lambda: server.taken)
    path, authorization = server.requests[0]
    assert path == "/api/v2/write?org=home&bucket=chambers&precision=ms"
    assert authorization == f"Token {TOKEN}"
    assert server.taken[0].endswith(f" {cellar.start_ms}")


def test_batches_are_at_most_a_thousand_lines(cellar, server, run):
    """A backlog goes out in pieces a server takes."""
    cellar.read(2_300)
    run(server)
    wait_until(lambda: set(server.taken) == air_of(cellar))
    assert max(len(lines) for lines in server.tries) <= 1000


def test_a_row_the_server_will_not_take_is_found_left_out_and_counted(cellar, server, run):
    """One row among 500 is refused with 400: the other 499 arrive, the bad one is not tried for ever."""
    cellar.read(500)
    bad = sorted(air_of(cellar))[123]
    server.answer = lambda lines: (400, {}, "field type conflict") if bad in lines else (204, {}, "")
    writer = run(server, pace=QUICK._replace(again_s=0.05))
    wait_until(lambda: set(server.taken) == air_of(cellar) - {bad})
    wait_until(lambda: caught_up(writer))
    alone = server.tries.count([bad])
    cellar.read(10)
    wait_until(lambda: set(server.taken) == air_of(cellar) - {bad})
    assert writer.status().parked == 1
    assert server.tries.count([bad]) == alone == 1


@pytest.mark.parametrize("status", [400, 422])
def test_a_server_that_refuses_everything_costs_no_row(cellar, server, run, status):
    """When no row at all is taken, the fault is the server's: nothing is left out, everything is kept for later."""
    server.answer = lambda lines: (status, {}, "wrong place")
    cellar.read(20)
    writer = run(server)
    wait_until(lambda: writer.status().problem is not None)
    assert writer.status().problem.startswith(f"the server refused a row ({status}): wrong place")
    assert writer.status().parked == 0
    server.answer = lambda lines: (204, {}, "")
    wait_until(lambda: set(server.taken) == air_of(cellar))


@pytest.mark.parametrize(
    ("status", "says"),
    [
        (401, "does not accept the token (401)"),
        (403, "does not accept the token (403)"),
        (404, "knows no such address, org or bucket (404)"),
        (302, "points elsewhere (302)"),
    ],
)
def test_a_fault_of_the_settings_is_told_and_not_hammered(cellar, server, run, status, says):
    """Wrong token, bucket or address: said in words without the token; the next try is far away; nothing is lost."""
    server.answer = lambda lines: (status, {"Location": "/elsewhere"}, f"no: {TOKEN}")
    cellar.read(5)
    writer = run(server)
    wait_until(lambda: writer.status().problem is not None)
    assert says in writer.status().problem
    assert TOKEN not in writer.status().problem
    assert TOKEN not in repr(writer._plan)
    assert writer.stop(5)
    assert len(server.tries) == 1
    server.answer = lambda lines: (204, {}, "")
    run(server)
    wait_until(lambda: set(server.taken) == air_of(cellar))


def test_too_much_at_once_is_halved_until_it_fits_and_stays_small(cellar, server, run):
    """A server that takes 100 lines gets at most 100, also of what comes later."""
    server.answer = lambda lines: (413, {}, "") if len(lines) > 100 else (204, {}, "")
    cellar.read(1_000)
    writer = run(server)
    wait_until(lambda: set(server.taken) == air_of(cellar))
    refused = sum(len(lines) > 100 for lines in server.tries)
    cellar.read(1_000)
    wait_until(lambda: set(server.taken) == air_of(cellar))
    assert sum(len(lines) > 100 for lines in server.tries) == refused
    assert writer.status().parked == 0


@pytest.mark.parametrize("status", [429, 503])
def test_a_server_that_asks_for_time_gets_it(cellar, server, run, status):
    """Retry-After is kept to (only the lower bound is timed), whatever our own pace."""
    server.answer = lambda lines: (status, {"Retry-After": "1"}, "") if len(server.tries) == 1 else (204, {}, "")
    cellar.read(5)
    run(server)
    wait_until(lambda: set(server.taken) == air_of(cellar))
    assert server.times_s[1] - server.times_s[0] >= 0.99


def test_a_server_that_fails_every_third_time_gets_everything(cellar, server, run):
    """Going back after each failure never keeps the writer from coming forward."""
    server.answer = lambda lines: (500, {}, "oh") if len(server.tries) % 3 == 0 else (204, {}, "")
    cellar.read(5_000, every_s=0.05)
    writer = run(server)
    wait_until(lambda: set(server.taken) == air_of(cellar), within_s=30)
    wait_until(lambda: caught_up(writer))


def test_a_server_that_does_not_answer_is_given_up_and_tried_again(cellar, server, run):
    """A request that hangs ends at its time limit; the rows go out again later."""
    server.answer = lambda lines: None if len(server.tries) == 1 else (204, {}, "")
    cellar.read(5)
    writer = run(server, pace=QUICK._replace(timeout_ms=300, first_rest_s=0.5, longest_rest_s=0.5))
    wait_until(lambda: writer.status().problem is not None)
    assert writer.status().problem.endswith("it took the rows but does not answer in time")
    wait_until(lambda: set(server.taken) == air_of(cellar))


def test_the_cursor_survives_and_only_the_last_minutes_are_sent_again(cellar, server, run):
    """A new start sends the last 11 minutes once more, not the whole journal."""
    cellar.read(200, every_s=30)
    first = run(server)
    wait_until(lambda: caught_up(first))
    assert first.stop(5)
    server.taken.clear()
    second = run(server)
    wait_until(lambda: caught_up(second))
    assert set(server.taken) < air_of(cellar)
    assert len(set(server.taken)) == pytest.approx(22, abs=2)


def test_stopping_writes_what_there_still_is(cellar, server, run):
    """Readings of the last moments before a clean stop are on the server."""
    cellar.read(5)
    writer = run(server, every_s=60)
    wait_until(lambda: caught_up(writer))
    cellar.read(5)
    assert writer.stop(5)
    assert set(server.taken) == air_of(cellar)


def test_stopping_does_not_wait_for_a_server_that_hangs(cellar, server, run):
    """The daemon's end is not the server's to delay; what is unsent stays owed."""
    server.answer = lambda lines: None
    cellar.read(5)
    writer = run(server, pace=QUICK._replace(timeout_ms=60_000))
    wait_until(lambda: server.tries)
    assert not writer.stop(0.1)
    server.closing.set()


class Faulty:
    """A tail whose named call fails twice."""

    def __init__(self, tail, call, faults):
        self._tail, self._call, self._faults = tail, call, faults

    def __getattr__(self, name):
        if name == self._call and self._faults:
            self._faults.pop()
            raise OSError(f"disk I/O error in {name}")
        return getattr(self._tail, name)


@pytest.mark.parametrize("call", ["cursor", "readings", "events", "save", "close"])
def test_a_journal_in_trouble_is_waited_out(cellar, server, run, call):
    """Whatever call fails, the thread lives and everything arrives when the journal can be read again."""
    faults = [1, 2]
    cellar.read(50)
    server.answer = lambda lines: (500, {}, "") if len(server.tries) == 1 else (204, {}, "")
    writer = run(server, tail=lambda: Faulty(cellar.tail(), call, faults))
    wait_until(lambda: set(server.taken) == air_of(cellar))
    wait_until(lambda: caught_up(writer))


def test_an_unusable_server_is_told_and_ends_nothing_else(cellar):
    """With an address that is none there is a problem to read, not a traceback."""
    writer = SeriesWriter(SeriesPlan("cellar:8428", "home", "chambers", TOKEN), cellar.tail, lambda: 0)
    writer.start()
    wait_until(lambda: writer.status().problem is not None)
    assert writer.status().problem == (
        "the series server cannot be used: its url 'cellar:8428' must begin with http:// or https://"
    )
    assert writer.stop(5)


def test_the_lag_is_the_age_of_the_moment_up_to_which_all_is_written(cellar, server, run):
    """None before the first time, then small, and growing while the server is away."""
    server.answer = lambda lines: (503, {}, "")
    cellar.read(5)
    writer = run(server)
    wait_until(lambda: writer.status().problem is not None)
    assert writer.status().lag_s is None
    server.answer = lambda lines: (204, {}, "")
    wait_until(lambda: caught_up(writer))
    assert writer.status().lag_s >= 0
    assert writer.status().written >= 5
