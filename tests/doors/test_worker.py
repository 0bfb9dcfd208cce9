"""The worker goes on through trouble and stops when told."""

from __future__ import annotations

import threading
import time

from assistant.doors import worker


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
