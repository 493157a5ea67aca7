"""Parts for the series writer's tests: a journal with air and events in it, a real server, a scripted one."""

from __future__ import annotations

import gzip
import json
import signal
import subprocess
import threading
import time
import urllib.request
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import urlencode

from ingest_parts import answers, free_port

from chamberwatch.journal.facts import Facts
from chamberwatch.journal.records import Batch
from chamberwatch.journal.store import Journal
from chamberwatch.journal.tail import Tail
from chamberwatch.model import (
    Band,
    ChamberKind,
    ChamberPlan,
    Event,
    EventState,
    Kind,
    PieceFacts,
    Plan,
    Priority,
    ProbePlan,
    Reading,
)

CELLAR = ChamberPlan("cellar", ChamberKind.CURE_CHAMBER, Band(10, 15, 60), Band(70, 80, 100))
PROBES = (ProbePlan("front", "cellar"), ProbePlan("rear", "cellar"))


class Cellar:
    """A real journal of a cellar with two probes. `start_ms`: the time of the first reading."""

    def __init__(self, path, hours_ago=3):
        self.path = path
        self.journal = Journal.open(path)
        self.journal.remember_plan(Plan((CELLAR,), PROBES), "metric")
        # Near now: the real server drops what it takes to be far in the future, without a word.
        self.start_ms = (int(time.time()) - hours_ago * 3600) * 1000
        self.next_ms = self.start_ms
        self.written = []

    def close(self):
        """Close the journal."""
        self.journal.close()

    def tail(self):
        """Return a fresh tail, as the writer's thread opens one."""
        return Tail(self.path)

    def read(self, n, every_s=1, **air):
        """Commit `n` readings, the probes in turn, one every `every_s`."""
        rows = []
        for i in range(n):
            temp_c = air.get("temp_c", round(12 + (i % 97) / 100, 2))
            rh_pct = air.get("rh_pct", round(75 - (i % 53) / 100, 2))
            rows.append(Reading(PROBES[i % 2].name, self.next_ms, temp_c, rh_pct, self.next_ms))
            self.next_ms += round(every_s * 1000)
        self.commit(rows)

    def commit(self, rows):
        """Commit these readings."""
        self.journal.commit(Batch(readings=rows))
        self.written += rows

    def tell(self, event_id, at_ms, **facts):
        """Commit an event."""
        base = {
            "since_ms": at_ms - 90_000, "kind": Kind.HUMIDITY_LOW, "state": EventState.ACTIVE,
            "priority": Priority.MEDIUM, "chamber": "cellar", "probes": ("rear",), "value": 58.0, "limit": 70.0,
        }  # fmt: skip
        event = Event(event_id, at_ms, **(base | facts))
        self.journal.commit(Batch(events=[(event, "Too dry\nHumidifier probably empty.")]))
        return event

    def hang(self, name, at_ms):
        """Hang a piece in the cellar."""
        with Facts(self.path, now_ms=int(time.time() * 1000)) as facts:
            facts.hang(PieceFacts(name, "neck", 2150.0, diameter_mm=108.0), "cellar", at_ms)

    def air(self):
        """Return what a server should hold: (time, probe) to temperature and humidity."""
        return {(r.at_ms, r.probe): (r.temp_c, r.rh_pct) for r in self.written}


class SeriesServer:
    """A real time-series server of the v2 write protocol, Debian's victoria-metrics."""

    def __init__(self, folder):
        self.folder = folder
        self.port = free_port()
        self.process = None
        self.start()

    @property
    def url(self):
        """Return its address."""
        return f"http://127.0.0.1:{self.port}"

    def start(self):
        """Start it and wait until it answers."""
        with (self.folder / "server.log").open("ab") as log:
            command = [
                "victoria-metrics", f"-storageDataPath={self.folder / 'data'}",
                f"-httpListenAddr=127.0.0.1:{self.port}", "-dedup.minScrapeInterval=1ms", "-retentionPeriod=100y",
            ]  # fmt: skip
            self.process = subprocess.Popen(command, stdout=log, stderr=log)
        deadline_s = time.monotonic() + 20
        while not answers(self.port):
            assert time.monotonic() < deadline_s, (self.folder / "server.log").read_text()
            assert self.process.poll() is None, (self.folder / "server.log").read_text()
            time.sleep(0.02)

    def kill(self):
        """End it as a power cut would."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(10)

    def _get(self, path, **query):
        url = f"{self.url}{path}?{urlencode(query)}"
        with urllib.request.urlopen(url, timeout=10) as answer:
            return answer.read().decode()

    def export(self, name):
        """Return every sample of a metric: its labels as a sorted tuple, the time [ms], the value."""
        self._get("/internal/force_flush")
        text = self._get("/api/v1/export", **{"match[]": name, "start": "0", "end": "4000000000"})
        samples = []
        for series in map(json.loads, text.splitlines()):
            labels = {key: value for key, value in series["metric"].items() if key != "__name__"}
            pairs = zip(series["timestamps"], series["values"], strict=True)
            samples += [(tuple(sorted(labels.items())), at_ms, value) for at_ms, value in pairs]
        return sorted(samples)

    def air(self):
        """Return what it holds of the air: (time, probe) to temperature and humidity."""
        temp_c, rh_pct = (
            {(at_ms, dict(labels)["probe"]): value for labels, at_ms, value in self.export(name)}
            for name in ("air_temp_c", "air_rh_pct")
        )
        return {key: (temp_c.get(key), rh_pct.get(key)) for key in temp_c.keys() | rh_pct.keys()}


class ScriptedServer:
    """A web server that answers writes as told. `answer(lines) -> (status, headers, message)`; None hangs."""

    def __init__(self):
        self.answer = lambda lines: (204, {}, "")
        self.taken = []
        self.tries = []
        self.requests = []
        self.times_s = []
        self.closing = threading.Event()
        self.port = free_port()
        self.start()

    @property
    def url(self):
        """Return its address."""
        return f"http://127.0.0.1:{self.port}"

    def start(self):
        """Listen."""
        parent = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_POST(self):
                body = self.rfile.read(int(self.headers["Content-Length"]))
                if self.headers.get("Content-Encoding") == "gzip":
                    body = gzip.decompress(body)
                parent.handle(self, body.decode().split("\n"))

            def log_message(self, *args):
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", self.port), Handler)
        self.server.daemon_threads = True
        self.thread = threading.Thread(target=self.server.serve_forever, kwargs={"poll_interval": 0.02})
        self.thread.start()

    def handle(self, request, lines):
        """Answer one write."""
        self.requests.append((request.path, request.headers.get("Authorization")))
        self.times_s.append(time.monotonic())
        self.tries.append(lines)
        scripted = self.answer(lines)
        if scripted is None:
            self.closing.wait(30)
            request.close_connection = True
            return
        status, headers, message = scripted
        body = json.dumps({"code": "x", "message": message}).encode() if message else b""
        request.send_response(status)
        for key, value in headers.items():
            request.send_header(key, value)
        if body:
            request.send_header("Content-Type", "application/json")
        request.send_header("Content-Length", str(len(body)))
        request.end_headers()
        request.wfile.write(body)
        if status == 204:
            self.taken += lines

    def close(self):
        """Stop listening; requests that hang are let go."""
        self.closing.set()
        self.server.shutdown()
        self.thread.join()
        self.server.server_close()
