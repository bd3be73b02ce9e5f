"""A bench on this machine: one address with a token, a page that follows its files."""

from __future__ import annotations

import hmac
import secrets
import threading
from contextlib import suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import TracebackType
from typing import Any

from lutbench.bench.contents import Packer
from lutbench.bench.gather import Order, gather
from lutbench.bench.page import LIVE, data_text, page_html, policy
from lutbench.errors import LutbenchError

HOST = "127.0.0.1"

CHECK_SECONDS = 0.15
"""Seconds between checks of the files: a change shows well within a second."""

ALIVE_SECONDS = 10.0
"""Seconds between empty messages to a listening page, which detect one that has closed."""

TOKEN_BYTES = 18
"""Random bytes in a bench's address: 144 bits, too many to guess."""


class Follower:
    """The data of an order, remade when one of its files changes."""

    def __init__(self, order: Order) -> None:
        self.order = order
        self.packer = Packer()
        self.changed = threading.Condition()
        self.version = 0
        self.fault = ""
        self.seen = self._stamps()
        self.data = self._make()

    def _make(self) -> dict[str, Any]:
        bench, keys = gather(self.order)
        return self.packer.data(bench, keys)

    def _stamps(self) -> dict[str, tuple[int, int] | None]:
        found: dict[str, tuple[int, int] | None] = {}
        for path in self.order.watched():
            try:
                status = path.stat()
                found[str(path)] = (status.st_mtime_ns, status.st_size)
            except OSError:
                found[str(path)] = None
        return found

    def page_data(self) -> dict[str, Any]:
        """The data for the page, with the addresses and the version to follow."""
        with self.changed:
            return self.data | {"live": LIVE | {"version": self.version}}

    def look(self) -> bool:
        """Check the files; True if one has changed, with new data or a fault."""
        stamps = self._stamps()
        if stamps == self.seen:
            return False
        self.seen = stamps
        try:
            data, fault = self._make(), ""
        except LutbenchError as error:
            data, fault = self.data, str(error)
        with self.changed:
            self.data, self.fault = data, fault
            self.version += 1
            self.changed.notify_all()
        return True


class BenchServer:
    """Serves one bench on the loopback address until its block ends.

    A request needs the token and a host name of this machine, so that a page from elsewhere
    cannot reach the bench through a name that points here.

    Raises LutbenchError when the bench cannot be made or the port is not available.
    """

    def __init__(self, order: Order, port: int = 0) -> None:
        self.follower = Follower(order)
        self.token = secrets.token_urlsafe(TOKEN_BYTES)
        self.ended = threading.Event()
        try:
            self.server = _Server((HOST, port), _Handler)
        except OSError as error:
            reason = error.strerror or str(error)
            raise LutbenchError(f"cannot serve: {reason}", where=f"port {port}") from error
        self.server.bench = self
        self.port = int(self.server.server_address[1])
        self.names = {f"{HOST}:{self.port}", f"localhost:{self.port}"}
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    @property
    def address(self) -> str:
        """Where the page is."""
        return f"http://{HOST}:{self.port}/{self.token}/"

    def run(self) -> None:
        """Follow the files until the server is closed or interrupted."""
        while not self.ended.wait(CHECK_SECONDS):
            self.follower.look()

    def close(self) -> None:
        """Stop serving."""
        self.ended.set()
        with self.follower.changed:
            self.follower.changed.notify_all()
        self.server.shutdown()
        self.server.server_close()

    def __enter__(self) -> BenchServer:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    bench: BenchServer


class _Handler(BaseHTTPRequestHandler):
    server: _Server

    server_version = "lutbench"
    sys_version = ""

    def do_GET(self) -> None:
        wanted = self._wanted()
        if wanted is None:
            self.send_error(404)
        elif wanted == LIVE["events"]:
            self._events()
        else:
            live = wanted == LIVE["data"]
            data = self.server.bench.follower.page_data()
            text = data_text(data) if live else page_html(data)
            self._answer(text, "application/json" if live else "text/html; charset=utf-8")

    def _wanted(self) -> str | None:
        """The path after the token; None if the request is refused."""
        if self.headers.get("Host", "") not in self.server.bench.names:
            return None
        token, slash, rest = self.path.removeprefix("/").partition("/")
        if not hmac.compare_digest(token.encode(), self.server.bench.token.encode()) or not slash:
            return None
        return rest if rest in ("", *LIVE.values()) else None

    def _head(self, kind: str) -> None:
        self.send_response(200)
        for name, value in {
            "Content-Type": kind,
            "Content-Security-Policy": policy(live=True) + "; frame-ancestors 'none'",
            "X-Content-Type-Options": "nosniff",
            "Referrer-Policy": "no-referrer",
            "Cross-Origin-Resource-Policy": "same-origin",
            "Cache-Control": "no-store",
        }.items():
            self.send_header(name, value)

    def _answer(self, text: str, kind: str) -> None:
        body = text.encode("utf-8")
        self._head(kind)
        self.send_header("Content-Length", str(len(body)))
        with suppress(OSError):  # the client has disconnected
            self.end_headers()
            self.wfile.write(body)

    def _events(self) -> None:
        """Send changes until the page is closed."""
        self._head("text/event-stream")
        self.end_headers()
        follower = self.server.bench.follower
        version = -1  # so that a page that missed a change gets it at once
        with suppress(OSError):  # the page was closed
            while not self.server.bench.ended.is_set():
                message = ":\n\n"
                if follower.version != version:
                    version, fault = follower.version, follower.fault
                    name, text = ("fault", fault) if fault else ("changed", str(version))
                    message = f"event: {name}\ndata: {text}\n\n"
                self.wfile.write(message.encode("utf-8"))
                self.wfile.flush()
                with follower.changed:
                    if follower.version == version:
                        follower.changed.wait(ALIVE_SECONDS)

    def log_message(self, format: str, *args: Any) -> None:
        """Log nothing: the address contains the token."""
