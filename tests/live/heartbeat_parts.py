"""Somebody who waits for a sign of life: a small web server that can also be wrong in several ways."""

from __future__ import annotations

import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


class Waiting:
    """Keeps the paths it was asked for; answers `code`, or hangs while `hold` is cleared."""

    def __init__(self):
        self.asked, self.code = [], 204
        self.hold = threading.Event()
        self.hold.set()
        outer = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self):
                outer.asked.append(self.path)
                outer.hold.wait(20)
                self.send_response(outer.code)
                self.end_headers()

            def log_message(self, *_args):
                """Say nothing."""

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self.address = f"http://127.0.0.1:{self._server.server_address[1]}"
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.05,), daemon=True)
        self._thread.start()

    def close(self):
        """Stop listening."""
        self.hold.set()
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()
