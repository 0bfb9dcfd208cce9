"""`serve` and `work`: what runs day and night, and how it stops."""

from __future__ import annotations

import argparse
import logging
import signal
import threading
from types import FrameType
from typing import Any, NoReturn

import waitress

from assistant.assembly import assemble
from assistant.doors.command_line.opening import migrate, require_home
from assistant.doors.web import create_app
from assistant.doors.worker import work_until
from assistant.settings import Settings

WEB_THREADS = 8


def add_commands(commands: Any) -> None:
    """Add this group's commands."""
    serve = commands.add_parser("serve", help="answer texts, show the pages and send what is due")
    serve.add_argument("--host", default="127.0.0.1", help="address to listen on (default: 127.0.0.1)")
    serve.add_argument("--port", type=int, default=8000, help="port to listen on (default: 8000)")
    serve.set_defaults(run=serve_all)
    work = commands.add_parser("work", help="send what is due, beside a server (PostgreSQL)")
    work.set_defaults(run=work_alone)


def serve_all(given: argparse.Namespace, settings: Settings) -> int:
    """Serve until told to stop; requests and texts under way are finished first."""
    settings.require_carrier()
    require_home(settings)
    migrate(settings)
    assistant = assemble(settings)
    try:
        server = waitress.create_server(create_app(assistant), host=given.host, port=given.port, threads=WEB_THREADS)
    except OSError as error:
        assistant.database.dispose()
        print(f"cannot listen on {given.host}:{given.port} ({error.strerror}): choose another --port")
        return 1
    stop = threading.Event()
    worker = threading.Thread(target=work_until, args=(assistant, stop), name="worker")
    worker.start()
    signal.signal(signal.SIGTERM, _leave)
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    print(f"Serving {assistant.business.name} on http://{server.effective_host}:{server.effective_port}", flush=True)
    print(f"The carrier's address for incoming texts: {settings.public_url}/sms/inbound", flush=True)
    try:
        server.run()
    finally:
        stop.set()
        worker.join()
        server.close()
        assistant.database.dispose()
    print("Stopped.")
    return 0


def work_alone(given: argparse.Namespace, settings: Settings) -> int:
    """Work until told to stop."""
    settings.require_carrier()
    require_home(settings)
    assistant = assemble(settings)
    stop = threading.Event()
    for asked in (signal.SIGTERM, signal.SIGINT):
        signal.signal(asked, lambda *_: stop.set())
    print(f"Working for {assistant.business.name}.", flush=True)
    work_until(assistant, stop)
    assistant.database.dispose()
    print("Stopped.")
    return 0


def _leave(_number: int, _frame: FrameType | None) -> NoReturn:
    """Waitress ends its loop in good order when the main thread leaves."""
    raise SystemExit(0)
