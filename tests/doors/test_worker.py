"""The worker goes on through trouble and stops when told."""

from __future__ import annotations

import threading
import time
from dataclasses import replace
from datetime import timedelta

from assistant.domain.people import Application, Vessel
from assistant.doors import worker
from assistant.storage import care, threads
from assistant.storage.clients import NewClient, add_client
from tests.nudging import knowledge


def test_a_bad_round_does_not_end_the_work_and_a_stop_is_heard_at_once(assistant, now, monkeypatch):
    rounds = []

    def sometimes(app, moment, worker):
        rounds.append(moment)
        if len(rounds) == 1:
            raise RuntimeError("the database was away")
        return len(rounds) < 4

    monkeypatch.setattr(worker, "send_due", sometimes)
    monkeypatch.setattr(worker, "PAUSE_SECONDS", 0.05)
    stop = threading.Event()
    thread = threading.Thread(target=worker.work_until, args=(assistant, stop, lambda: now))
    thread.start()
    deadline = time.monotonic() + 5
    while len(rounds) < 6 and time.monotonic() < deadline:
        time.sleep(0.01)
    monkeypatch.setattr(worker, "PAUSE_SECONDS", 60.0)
    time.sleep(0.1)
    stop.set()
    thread.join(timeout=2)
    assert not thread.is_alive()
    assert len(rounds) >= 6


def test_a_nudge_that_is_due_leaves_by_itself_and_once(assistant, now, monkeypatch):
    """A boat sealed two months ago: the topper is due, and the running worker sends it, once."""
    app = replace(assistant, knowledge=knowledge())
    with app.database.transaction(1) as tx:
        client = add_client(tx, NewClient("Ana Reyes", "+13055550111", "en", "America/New_York", "US"), now)
        threads.record_consent(tx, threads.thread_of_client(tx, client, now), "service", now, medium="paper form")
        boat = care.add_vessel(tx, Vessel(0, client, "Sea Thistle"), now)
        care.add_application(tx, Application(0, boat, "hull", "sealant", now.date() - timedelta(days=60)), now)
    stop = threading.Event()
    monkeypatch.setattr(worker, "PAUSE_SECONDS", 0.01)
    monkeypatch.setattr(worker, "PLAN_EVERY", 1)
    thread = threading.Thread(target=worker.work_until, args=(app, stop, lambda: now))
    thread.start()
    deadline = time.monotonic() + 20
    while not app.carrier.sent and time.monotonic() < deadline:
        time.sleep(0.05)
    time.sleep(0.5)  # many more rounds: none of them may send it again
    stop.set()
    thread.join(timeout=10)
    [text] = app.carrier.sent
    assert text.to == "+13055550111"
    assert "Sea Thistle" in text.text
