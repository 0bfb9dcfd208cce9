"""A small Twilio of our own on 127.0.0.1: keeps texts, and misbehaves on request."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.utils import format_datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs, urlsplit

from twilio.http.http_client import TwilioHttpClient

API = "https://api.twilio.com"


class LoopbackClient(TwilioHttpClient):
    """The library's own client, sent to another address."""

    def __init__(self, base: str, timeout: float = 5.0) -> None:
        super().__init__(pool_connections=False, timeout=timeout)
        self.base = base

    def request(self, method, url, *args, **kwargs):
        """Send the request to the loopback instead."""
        assert url.startswith(API + "/")
        return super().request(method, self.base + url.removeprefix(API), *args, **kwargs)


@dataclass
class FakeTwilio:
    """`mood` is `well`, `drop` (no answer), `drop_after` (kept, no answer), `slow`, `html`, or (status, code)."""

    url: str = ""
    mood: object = "well"
    forms: list[dict[str, str]] = field(default_factory=list)
    messages: list[dict[str, object]] = field(default_factory=list)

    def keep(self, form: dict[str, str]) -> dict[str, object]:
        """Take a text over as Twilio would; strings where Twilio has strings."""
        message = {
            "sid": f"SM{len(self.messages) + 1:032x}",
            "status": "accepted" if "MessagingServiceSid" in form else "queued",
            "to": form["To"], "from": form.get("From"), "body": form["Body"], "direction": "outbound-api",
            "num_segments": "0", "num_media": "0", "error_code": None, "date_sent": None,
            "date_created": format_datetime(datetime.now(UTC)), "date_updated": format_datetime(datetime.now(UTC)),
        }  # fmt: skip
        self.messages.insert(0, message)
        return message


@contextmanager
def fake_twilio() -> Iterator[FakeTwilio]:
    """Serve on a free port of the loopback until the block ends."""
    fake = FakeTwilio()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self):
            raw = self.rfile.read(int(self.headers["Content-Length"])).decode()
            form = {name: values[0] for name, values in parse_qs(raw, keep_blank_values=True).items()}
            fake.forms.append(form)
            if fake.mood == "drop":
                return self.connection.close()
            if isinstance(fake.mood, tuple):
                status, code = fake.mood
                return self._answer(status, {"code": code, "message": "no", "more_info": "", "status": status})
            message = fake.keep(form)
            if fake.mood == "drop_after":
                return self.connection.close()
            if fake.mood == "slow":
                time.sleep(1.0)
            return self._answer(201, "<html>" if fake.mood == "html" else message)

        def do_GET(self):
            to = parse_qs(urlsplit(self.path).query)["To"][0]
            listed = [message for message in fake.messages if message["to"] == to]
            self._answer(200, {"messages": listed, "next_page_uri": None, "page": 0, "page_size": 100})

        def _answer(self, status, body):
            raw = (body if isinstance(body, str) else json.dumps(body)).encode()
            try:
                self.send_response(status)
                self.send_header("Content-Type", "application/json")
                self.send_header("Content-Length", str(len(raw)))
                self.end_headers()
                self.wfile.write(raw)
            except BrokenPipeError:
                pass

        def log_message(self, *_):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    fake.url = f"http://127.0.0.1:{server.server_port}"
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield fake
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
