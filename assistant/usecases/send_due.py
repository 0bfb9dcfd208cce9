"""Sends what is due: each text is claimed, handed to the carrier outside any transaction, and noted.

A text is claimed in a transaction that holds its thread, asks once more whether it may leave, and commits `sending`.
From then on it may have left: only a carrier's plain "not taken" brings it back into the queue.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from datetime import datetime, timedelta

from assistant.assembly import Assistant
from assistant.carriers.carrier import LONGEST_WAIT_SECONDS, OutgoingText
from assistant.domain.consent import Drop, Go, Wait
from assistant.domain.conversation.situation import InboundMessage, Situation
from assistant.domain.errors import CarrierBusy, CarrierRefused
from assistant.domain.sms import measure, plain
from assistant.storage import outbox, threads, untold
from assistant.storage.database import Transaction
from assistant.storage.situations import load_situation
from assistant.usecases.may_leave import may_leave

log = logging.getLogger(__name__)

AT_ONCE = 20
"""Texts looked at in one round: a carrier sends about one a second, and the hour is asked anew each round."""
FIRST_RETRY = timedelta(minutes=1)
LAST_TRY = 10
"""With the pause doubling up to an hour, the tenth try comes after some five hours."""
LOST_AFTER = timedelta(minutes=5)
"""A claim this old belongs to a worker that is gone."""
LOOKED_FOR = timedelta(hours=1)
"""How long an uncertain text is looked for in the carrier's list."""
TOLD_AFTER = timedelta(minutes=10)
"""When a person hears of an uncertain text."""
OPTED_OUT_AT_CARRIER = 21610


@dataclass(frozen=True, slots=True)
class Claimed:
    """A text that is ours to send, and until when the carrier may hold it."""

    text: outbox.Queued
    until: datetime | None


def send_due(app: Assistant, now: datetime, worker: str = "") -> bool:
    """Send what may leave now. True when there may be more that can leave at once."""
    with app.database.transaction(app.business.id) as tx:
        due = outbox.due(tx, now, AT_ONCE)
    for text in due:
        claimed = _claim(app, text, now, worker)
        if claimed and not _send(app, claimed, now):
            return False
    return len(due) == AT_ONCE


def settle_uncertain(app: Assistant, now: datetime) -> None:
    """Find uncertain texts in the carrier's list; what stays uncertain, or did not arrive, goes before a person."""
    with app.database.transaction(app.business.id) as tx:
        outbox.give_up_on_lost(tx, now - LOST_AFTER)
        uncertain = outbox.texts_in(tx, "unknown")
    for text in uncertain:
        if text.claimed_at and text.claimed_at > now - LOOKED_FOR:
            _look_for(app, text, text.claimed_at, now)
    with app.database.transaction(app.business.id) as tx:
        for lost in untold.untold(tx, now - TOLD_AFTER):
            untold.tell(tx, lost, _note(lost), now)


def _claim(app: Assistant, text: outbox.Queued, now: datetime, worker: str) -> Claimed | None:
    """Make the text ours when it may leave now; else put it off or drop it.

    The thread is locked first, as an inbound text does, so that an opt-out and a sending never wait for each other.
    """
    with app.database.transaction(app.business.id) as tx:
        verdict = _verdict(app, tx, text, now)
        try:
            if isinstance(verdict, Drop):
                outbox.drop(tx, text.id, verdict.why)
            elif isinstance(verdict, Wait):
                outbox.postpone(tx, text.id, verdict.until)
            else:
                outbox.begin_sending(tx, text.id, worker, now)
                return Claimed(text, verdict.until)
        except ValueError:
            log.info("text %s was taken or dropped by someone else", text.id)
    return None


def _verdict(app: Assistant, tx: Transaction, text: outbox.Queued, now: datetime) -> Go | Wait | Drop:
    """May it leave now, by what is on record at this moment?"""
    return may_leave(app, tx, text, _situation(app, tx, text, now), now)


def _send(app: Assistant, claimed: Claimed, now: datetime) -> bool:
    """Hand one text over and note what came of it. False when the carrier has no time for more."""
    text = claimed.text
    try:
        receipt = app.carrier.send(_outgoing(text, claimed.until, now))
    except CarrierBusy as busy:
        _not_taken(app, text, busy, now)
        return False
    except CarrierRefused as refused:
        _refused(app, text, refused, now)
    except Exception as error:
        # Whatever went wrong, the text may have left.
        log.warning("nobody knows whether text %s left: %s", text.id, error)
        with app.database.transaction(app.business.id) as tx:
            outbox.mark_unknown(tx, text.id, str(error))
    else:
        with app.database.transaction(app.business.id) as tx:
            segments = measure(plain(text.text)).segments
            outbox.mark_sent(tx, text.id, receipt.sid, now, receipt.status, segments)
    return True


def _not_taken(app: Assistant, text: outbox.Queued, busy: CarrierBusy, now: datetime) -> None:
    """Queue it again, later each time; after the last try it counts as failed."""
    with app.database.transaction(app.business.id) as tx:
        if text.attempts + 1 >= LAST_TRY:
            outbox.mark_failed(tx, text.id, str(busy), busy.code)
        else:
            pause = min(FIRST_RETRY * 2**text.attempts, timedelta(hours=1))
            outbox.try_later(tx, text.id, now + pause, str(busy), busy.code)


def _refused(app: Assistant, text: outbox.Queued, refused: CarrierRefused, now: datetime) -> None:
    """Never again for this text; a number that opted out at the carrier has opted out here, too."""
    log.warning("text %s was refused: %s", text.id, refused)
    with app.database.transaction(app.business.id) as tx:
        outbox.mark_failed(tx, text.id, str(refused), refused.code)
        if refused.code == OPTED_OUT_AT_CARRIER:
            silenced = threads.opt_out(tx, text.thread_id, "opted out at the carrier", None, now)
            outbox.drop_queued(tx, "opted out", thread_ids=silenced)


def _look_for(app: Assistant, text: outbox.Queued, since: datetime, now: datetime) -> None:
    try:
        receipt = app.carrier.find(_outgoing(text, None, now), since)
    except CarrierBusy as busy:
        log.warning("text %s stays uncertain: %s", text.id, busy)
        return
    if receipt:
        with app.database.transaction(app.business.id) as tx:
            outbox.mark_sent(tx, text.id, receipt.sid, now, receipt.status, measure(plain(text.text)).segments)


def _outgoing(text: outbox.Queued, until: datetime | None, now: datetime) -> OutgoingText:
    seconds = int((until - now).total_seconds()) if until else LONGEST_WAIT_SECONDS
    pictures = tuple(picture.url for picture in text.media)
    return OutgoingText(text.to, plain(text.text), text.channel, seconds, pictures)


def _situation(app: Assistant, tx: Transaction, text: outbox.Queued, now: datetime) -> Situation:
    """The receiver's situation as of now; it is found by number and channel, as for a text of theirs."""
    nobody_wrote = InboundMessage(sid="", sender=text.to, to=app.business.number, text="", channel=text.channel)
    return load_situation(tx, app.business, nobody_wrote, now, app.settings.public_url)


def _note(lost: untold.Untold) -> str:
    happened = "did not arrive" if lost.state == "failed" else "may not have left"
    code = f" {lost.error_code}" if lost.error_code else ""
    return f"This text {happened} ({lost.error or 'the carrier reported it'}{code}): {lost.text}"
