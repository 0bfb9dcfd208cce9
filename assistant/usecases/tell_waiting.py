"""The waiting list: when a time that fits comes free, who waits longest is offered it first, held like any offer."""

from __future__ import annotations

import logging
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from assistant.assembly import Assistant
from assistant.domain.conversation.booking_offer import offer_as_wished
from assistant.domain.conversation.booking_request import Request
from assistant.domain.conversation.scene import Piece, Scene
from assistant.domain.conversation.situation import InboundMessage
from assistant.domain.errors import SlotTaken
from assistant.storage import outbox, plans, visits
from assistant.storage.changes import carry_out
from assistant.storage.database import Transaction
from assistant.storage.situations import load_situation
from assistant.storage.threads import read_thread

HORIZON = timedelta(days=200)

log = logging.getLogger(__name__)


def tell_waiting(app: Assistant, now: datetime) -> int:
    """Offer free times to those who wait for them, in the hours in which a text may leave. Returns how many were told."""
    opens, closes = app.business.service_window
    if not opens <= now.astimezone(ZoneInfo(app.business.zone)).time() < closes:
        return 0
    with app.database.reading(app.business.id) as tx:
        waiting = plans.waiting(tx)
    told = 0
    for one in waiting:
        try:
            told += _tell(app, one, now)
        except SlotTaken:
            log.info("waiting list %s: somebody else took the time; the next round looks again", one.id)
        except Exception:
            log.exception("waiting list %s could not be looked after; it is tried again in the next round", one.id)
    return told


def _tell(app: Assistant, waiting: plans.Waiting, now: datetime) -> int:
    with app.database.transaction(app.business.id) as tx:
        thread = read_thread(tx, waiting.thread_id)
        if thread is None:
            return 0
        message = InboundMessage("", thread.phone, app.business.number, "", channel=thread.channel)
        situation = load_situation(tx, app.business, message, now, app.settings.public_url)
        if situation.client is None or situation.question is not None or not situation.consent.service:
            return 0
        scene = Scene(situation, app.knowledge, now, situation.client.language)
        piece = _offered(app, tx, waiting, scene, now)
        if piece is None:
            return 0
        carry_out(tx, piece.changes, situation, None, now)
        outbox.enqueue(tx, _draft(waiting, piece, now + timedelta(minutes=app.business.hold_minutes), now), now)
        plans.note_told(tx, waiting.id, now)
        return 1


def _offered(app: Assistant, tx: Transaction, waiting: plans.Waiting, scene: Scene, now: datetime) -> Piece | None:
    """Free times that fit the wish; None while there are none."""
    today = now.astimezone(ZoneInfo(app.business.zone)).date()
    visits.take_turns(tx)
    diary = visits.load_diary(tx, today, today + HORIZON, now, scene.situation.client.id if scene.situation.client else None)
    service = waiting.service or next(iter(app.business.services), "")
    return offer_as_wished(Request(service, waiting.vessel_ids), waiting.wish, scene, diary, scene.say("wait.opened"))


def _draft(waiting: plans.Waiting, piece: Piece, held_until: datetime, now: datetime) -> outbox.Draft:
    return outbox.Draft(
        thread_id=waiting.thread_id, consent=outbox.SERVICE, kind="waiting_list", text=piece.text,
        dedupe_key=f"waiting:{waiting.id}", due_at=now, not_after=held_until, why="a time that was wished for is free",
    )  # fmt: skip
