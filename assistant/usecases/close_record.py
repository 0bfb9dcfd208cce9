"""A boat is sold, a client moved or died, a number went back: the record is closed, and nothing more is sent.

One polite last word goes out where a text is right at all; what was queued is dropped in the same transaction.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from assistant.assembly import Assistant
from assistant.domain import sms, wording
from assistant.domain.consent import LAST_WORD, NUDGE, SERVICE, TOLD_OF_CLOSING, refusal
from assistant.domain.conversation.scene import Scene
from assistant.domain.conversation.situation import Situation
from assistant.domain.conversation.values import tidy
from assistant.domain.nudge_texts import SEGMENTS, nudge_text
from assistant.domain.people import Vessel
from assistant.storage import care, clients, nudges, outbox, plans
from assistant.storage.database import Transaction
from assistant.usecases.plan_nudges import situation_of

REASONS = ("sold", "moved", "deceased", "number_returned")
WORTH_SAYING = timedelta(days=3)


def close_client(app: Assistant, client_id: int, why: str, now: datetime) -> bool:
    """Write to this client no more, for one of REASONS. True when a last word is queued. LookupError, ValueError."""
    with app.database.transaction(app.business.id) as tx:
        situation = _situation(app, tx, client_id, why, now)
        clients.change_client(tx, client_id, closed=why)
        outbox.drop_queued(tx, f"the record is closed: {why}", thread_ids=[situation.thread_id])
        plans.leave_waiting_list(tx, situation.thread_id)
        nudges.forget_client(tx, client_id)
        return _last_word(app, tx, situation, situation.vessels, why, f"client/{client_id}", now)


def close_vessel(app: Assistant, client_id: int, vessel_id: int, why: str, now: datetime) -> bool:
    """Look after this boat no more, for one of REASONS. True when a last word is queued. LookupError, ValueError."""
    with app.database.transaction(app.business.id) as tx:
        situation = _situation(app, tx, client_id, why, now)
        vessels = tuple(vessel for vessel in situation.vessels if vessel.id == vessel_id)
        if not vessels:
            raise LookupError(f"vessel {vessel_id} is not one of client {client_id}")
        care.change_vessel(tx, vessel_id, now, gone=why)
        outbox.drop_queued(tx, f"the boat is off the list: {why}", vessel_id=vessel_id)
        for vessel in situation.vessels:
            care.mark_due(tx, vessel.id, now)
        nudges.forget_vessel(tx, vessel_id)
        return _last_word(app, tx, situation, vessels, why, f"vessel/{vessel_id}", now)


def _situation(app: Assistant, tx: Transaction, client_id: int, why: str, now: datetime) -> Situation:
    if why not in REASONS:
        raise ValueError(f"{why!r} is no reason: use one of {', '.join(REASONS)}")
    client = clients.find_client(tx, client_id)
    if client is None:
        raise LookupError(f"there is no client {client_id}")
    return situation_of(app, tx, client, now)


def _last_word(
    app: Assistant, tx: Transaction, situation: Situation, vessels: tuple[Vessel, ...], why: str, about: str, now: datetime
) -> bool:  # fmt: skip
    """Queue it, unless the reason or the client's consent speaks against any text at all."""
    if why not in TOLD_OF_CLOSING or refusal(LAST_WORD, SERVICE, situation) or not vessels:
        return False
    client = situation.client
    scene = Scene(situation, app.knowledge, now, (client.language if client else "") or app.business.language)
    names = wording.join_words([scene.name_of(vessel) for vessel in vessels], scene.language)
    text = wording.fill(nudge_text(LAST_WORD, scene).text, scene.business_values | {"vessel": names})
    draft = outbox.Draft(
        thread_id=situation.thread_id,
        consent=SERVICE,
        kind=NUDGE + LAST_WORD,
        text=sms.cheap(sms.plain(tidy(text)), SEGMENTS),
        dedupe_key=f"{LAST_WORD}/{about}/{why}",
        due_at=now,
        why=f"closed: {why}",
        not_after=now + WORTH_SAYING,
    )
    return outbox.enqueue(tx, draft, now) is not None
