"""The worker: does what is due, again and again, until it is told to stop."""

from __future__ import annotations

import logging
import os
import threading
from collections.abc import Callable
from datetime import datetime

from assistant.assembly import Assistant
from assistant.carriers.media import MediaSource
from assistant.clock import utc_now
from assistant.usecases.keep_plans import keep_plans
from assistant.usecases.photos import keep_photos
from assistant.usecases.plan_nudges import plan_nudges, plan_visit_texts
from assistant.usecases.send_due import send_due, settle_uncertain
from assistant.usecases.tell_crew import tell_crew
from assistant.usecases.tell_waiting import tell_waiting

log = logging.getLogger(__name__)

PAUSE_SECONDS = 5.0
SETTLE_EVERY = 12
"""Rounds between two looks at the carrier's list: about a minute."""
PLAN_EVERY = 12
"""Rounds between two looks at what is due: nudges are a matter of hours, not of seconds."""


def work_once(assistant: Assistant, now: datetime) -> None:
    """Send everything that is queued for `now`; what comes due by itself is planned apart (`plan`)."""
    tell_crew(assistant, now)
    while send_due(assistant, now, worker=_name()):
        pass
    settle_uncertain(assistant, now)


def plan(assistant: Assistant, now: datetime) -> None:
    """Book plans ahead, tell who waits of a time come free, and queue nudges and visit texts whose moment has come.

    Two workers at once queue each of them once.
    """
    keep_plans(assistant, now)
    tell_waiting(assistant, now)
    plan_visit_texts(assistant, now)
    while plan_nudges(assistant, now):
        pass


def work_until(assistant: Assistant, stop: threading.Event, now: Callable[[], datetime] = utc_now) -> None:
    """Work until `stop` is set. One bad round is logged and does not end the work."""
    rounds = 0
    pictures = MediaSource(assistant.settings.account_sid, assistant.settings.auth_token)
    while not stop.is_set():
        try:
            tell_crew(assistant, now())
            if rounds % PLAN_EVERY == 0:
                plan(assistant, now())
            more = send_due(assistant, now(), worker=_name())
            if rounds % SETTLE_EVERY == 0:
                settle_uncertain(assistant, now())
            keep_photos(assistant, pictures, now())
        except Exception:
            log.exception("a round of work failed; the next one follows in %s seconds", PAUSE_SECONDS)
            more = False
        rounds += 1
        stop.wait(0 if more else PAUSE_SECONDS)


def _name() -> str:
    """Which worker a claim belongs to."""
    return f"{os.getpid()}-{threading.get_ident()}"
