"""The outbox: each text is claimed once, its fate only moves forward, and nobody blindly sends again."""

from __future__ import annotations

import itertools
import threading
from datetime import datetime, timedelta

import pytest

from assistant.storage import messages, outbox, threads
from assistant.storage.clients import NewClient, add_client
from assistant.storage.database import Database, Transaction

HOUR = timedelta(hours=1)


@pytest.fixture
def thread(database: Database, now: datetime) -> int:
    with database.transaction(1) as tx:
        client = add_client(tx, NewClient("Ana Reyes", "+13055550111", "es", "America/New_York", "US"), now)
        return threads.thread_of_client(tx, client, now)


def draft(thread: int, key: str, due_at: datetime, **details: object) -> outbox.Draft:
    return outbox.Draft(thread, "service", "reminder", f"text {key}", key, due_at, **details)  # type: ignore[arg-type]


def sending(tx: Transaction, thread: int, now: datetime, key: str = "k") -> int:
    made = outbox.enqueue(tx, draft(thread, key, now), now)
    assert made is not None
    outbox.begin_sending(tx, made, "worker", now)
    return made


def state_of(tx: Transaction, outbox_id: int) -> str:
    everything = outbox.texts_in(tx, "queued", "sending", "sent", "delivered", "failed", "unknown", "dropped")
    return next(text.state for text in everything if text.id == outbox_id)


def test_a_text_is_queued_once_whatever_became_of_it(database: Database, thread: int, now: datetime) -> None:
    with database.transaction(1) as tx:
        made = outbox.enqueue(tx, draft(thread, "k", now), now)
        assert made is not None
        assert outbox.enqueue(tx, draft(thread, "k", now), now) is None
        outbox.drop(tx, made, "sold")
        assert outbox.enqueue(tx, draft(thread, "k", now), now) is None


def test_what_is_due_comes_with_all_that_decides_about_it(database: Database, thread: int, now: datetime) -> None:
    with database.transaction(1) as tx:
        threads.record_consent(tx, thread, "service", now)
        outbox.enqueue(tx, draft(thread, "later", now + HOUR), now)
        outbox.enqueue(tx, draft(thread, "second", now, data={"n": 1}, why="rule 7", not_after=now + HOUR), now)
        outbox.enqueue(tx, draft(thread, "first", now - HOUR), now)
        first, second = outbox.due(tx, now)
        assert outbox.next_moment(tx) == now - HOUR
    assert (first.dedupe_key, first.to, first.language, first.zone) == (
        "first",
        "+13055550111",
        "es",
        "America/New_York",
    )
    assert (second.agreed.service, second.agreed.marketing, second.closed) == (True, False, None)
    assert (second.data, second.why, second.not_after, second.attempts) == ({"n": 1}, "rule 7", now + HOUR, 0)


def test_many_workers_claim_each_text_once(database: Database, thread: int, now: datetime) -> None:
    with database.transaction(1) as tx:
        for number in range(30):
            outbox.enqueue(tx, draft(thread, f"k{number}", now), now)
    claimed: list[int] = []

    def work(name: str) -> None:
        while True:
            with database.transaction(1) as tx:
                mine = outbox.due(tx, now, limit=4)
                for text in mine:
                    outbox.begin_sending(tx, text.id, name, now)
            if not mine:
                return
            claimed.extend(text.id for text in mine)

    workers = [threading.Thread(target=work, args=(f"w{number}",)) for number in range(5)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    with database.transaction(1) as tx:
        assert outbox.due(tx, now) == ()
    assert len(claimed) == len(set(claimed)) == 30


@pytest.mark.postgres
def test_a_claimed_text_does_not_hold_up_the_others(database: Database, thread: int, now: datetime) -> None:
    with database.transaction(1) as tx:
        for key in ("a", "b"):
            outbox.enqueue(tx, draft(thread, key, now), now)
    with database.transaction(1) as one, database.transaction(1) as other:
        (first,) = outbox.due(one, now, limit=1)
        (second,) = outbox.due(other, now, limit=1)
    assert {first.dedupe_key, second.dedupe_key} == {"a", "b"}


def test_a_sent_text_joins_the_thread(database: Database, thread: int, now: datetime) -> None:
    with database.transaction(1) as tx:
        outbox.mark_sent(tx, sending(tx, thread, now), "SM1", now, "queued", segments=2)
        (row,) = messages.history(tx, thread)
        assert (row.inbound, row.text, row.topic, row.at) == (False, "text k", "reminder", now)
        assert outbox.sent_since(tx, thread, now - HOUR, "service") == (now,)
        assert outbox.sent_since(tx, thread, now + HOUR, "service") == ()


def test_a_text_that_certainly_did_not_leave_is_queued_again(database: Database, thread: int, now: datetime) -> None:
    with database.transaction(1) as tx:
        outbox.try_later(tx, sending(tx, thread, now), now + HOUR, "too many", 20429)
        assert outbox.due(tx, now) == ()
        (again,) = outbox.due(tx, now + HOUR)
        assert again.attempts == 1


@pytest.mark.parametrize(
    "order", [*itertools.permutations(("queued", "sent", "delivered")), ("undelivered", "delivered", "sent")]
)
def test_receipts_in_any_order_end_at_the_last_word(
    database: Database, thread: int, now: datetime, order: tuple[str, ...]
) -> None:
    with database.transaction(1) as tx:
        text = sending(tx, thread, now)
        outbox.mark_sent(tx, text, "SM1", now)
        for status in (*order, *order):
            outbox.note_receipt(tx, "SM1", status, None, now)
        assert state_of(tx, text) == "delivered"


def test_a_receipt_that_comes_before_our_own_note_counts(database: Database, thread: int, now: datetime) -> None:
    with database.transaction(1) as tx:
        text = sending(tx, thread, now)
        assert outbox.note_receipt(tx, "SM1", "undelivered", 30005, now) is None
        outbox.mark_sent(tx, text, "SM1", now)
        assert state_of(tx, text) == "failed"


def test_a_failed_text_stays_failed_when_sent_is_reported_late(
    database: Database, thread: int, now: datetime
) -> None:
    with database.transaction(1) as tx:
        text = sending(tx, thread, now)
        outbox.mark_sent(tx, text, "SM1", now)
        assert outbox.note_receipt(tx, "SM1", "failed", 30007, now) == "failed"
        assert outbox.note_receipt(tx, "SM1", "sent", None, now) == "failed"


def test_a_text_whose_worker_vanished_is_uncertain_and_can_be_settled(
    database: Database, thread: int, now: datetime
) -> None:
    with database.transaction(1) as tx:
        found, lost = sending(tx, thread, now, "a"), sending(tx, thread, now, "b")
        assert outbox.give_up_on_lost(tx, now) == 0
        assert outbox.give_up_on_lost(tx, now + HOUR) == 2
        assert {text.id for text in outbox.texts_in(tx, "unknown")} == {found, lost}
        outbox.mark_sent(tx, found, "SM1", now + HOUR)
        outbox.settle_unsent(tx, lost, "not in the carrier's list")
        assert (state_of(tx, found), state_of(tx, lost)) == ("sent", "dropped")


def test_a_text_is_not_sent_from_a_state_it_is_not_in(database: Database, thread: int, now: datetime) -> None:
    with database.transaction(1) as tx:
        text = sending(tx, thread, now)
        with pytest.raises(ValueError, match="is not queued any more"):
            outbox.begin_sending(tx, text, "other", now)
        outbox.mark_failed(tx, text, "no", 21610)
        with pytest.raises(ValueError, match="was not being sent"):
            outbox.mark_sent(tx, text, "SM1", now)


def test_dropping_needs_to_know_what(database: Database, thread: int, now: datetime) -> None:
    with database.transaction(1) as tx:
        outbox.enqueue(tx, draft(thread, "k", now), now)
        with pytest.raises(ValueError, match="say which"):
            outbox.drop_queued(tx, "no reason")
        assert outbox.drop_queued(tx, "x", thread_ids=[thread], kind="other") == 0
        assert outbox.drop_queued(tx, "x", thread_ids=[thread], kind="reminder") == 1
