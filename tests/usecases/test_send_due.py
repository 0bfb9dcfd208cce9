"""Every promised text leaves once, or a person is told; none leaves without consent or at a wrong hour."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from sqlalchemy import select

from assistant.carriers.carrier import OutgoingText, Receipt
from assistant.carriers.memory import MemoryCarrier
from assistant.domain.errors import CarrierBusy, CarrierRefused, CarrierUnknown
from assistant.storage import clients, handovers, messages, outbox, threads
from assistant.storage.tables import outbox as outbox_table
from assistant.usecases.receipts import note_status
from assistant.usecases.send_due import AT_ONCE, send_due, settle_uncertain
from tests.hand_made import hand_made

ANA = "+13055550111"
HOUR = timedelta(hours=1)


class Moody(MemoryCarrier):
    """Raises `trouble` before taking a text, or after it when `late`."""

    trouble: Exception | None = None
    late = False

    def send(self, text: OutgoingText) -> Receipt:
        if self.trouble and not self.late:
            raise self.trouble
        receipt = super().send(text)
        if self.trouble:
            raise self.trouble
        return receipt


@pytest.fixture
def carrier():
    return Moody()


@pytest.fixture
def app(database, business, tmp_path, carrier, now):
    with database.transaction(business.id) as tx:
        ana = clients.NewClient("Ana Reyes", ANA, "en", "America/New_York", "US")
        clients.add_client(tx, ana, now)
        threads.record_consent(tx, threads.open_thread(tx, ANA, "sms", now), "service", now)
    return hand_made(database, business, tmp_path, carrier=carrier)


def queue(app, now, text="Your care pack", key="k", **how):
    with app.database.transaction(1) as tx:
        thread = threads.open_thread(tx, ANA, "sms", now)
        draft = outbox.Draft(thread, how.pop("consent", "service"), "care_pack", text, key, now, **how)
        return outbox.enqueue(tx, draft, now)


def row(app, number=1):
    with app.database.engine.connect() as connection:
        return connection.execute(select(outbox_table).where(outbox_table.c.id == number)).one()


def opened(app):
    with app.database.reading(1) as tx:
        return [(handover.reason, handover.note) for handover in handovers.handovers_in(tx)]


def test_a_due_text_leaves_once_and_joins_the_thread(app, carrier, now):
    number = queue(app, now)
    send_due(app, now)
    send_due(app, now + HOUR)
    assert [(text.to, text.text) for text in carrier.sent] == [(ANA, "Your care pack")]
    kept = row(app, number)
    assert (kept.state, kept.carrier_sid, kept.segments) == ("sent", "memory-1", 1)
    with app.database.reading(1) as tx:
        thread = threads.threads_of_client(tx, 1)[0]
        assert [entry.text for entry in messages.history(tx, thread.id)] == ["Your care pack"]


def test_a_text_that_is_not_due_yet_stays(app, carrier, now):
    queue(app, now + HOUR)
    send_due(app, now)
    assert carrier.sent == []


def test_the_carrier_may_hold_a_text_only_to_the_end_of_the_hours(app, carrier, now):
    """It is 10:30; texts may leave until 20:00."""
    queue(app, now)
    send_due(app, now)
    assert carrier.sent[0].valid_seconds == 9.5 * 3600


def test_at_night_a_text_waits_for_the_morning(app, carrier, now):
    late = now.replace(hour=2)  # 22:00 of the evening before
    number = queue(app, late)
    send_due(app, late)
    assert carrier.sent == []
    assert (row(app, number).state, row(app, number).due_at) == ("queued", now.replace(hour=12, minute=0))
    send_due(app, now.replace(hour=12, minute=0))
    assert len(carrier.sent) == 1


def test_an_opt_out_after_queueing_silences_the_text_at_the_moment_of_sending(app, carrier, now):
    number = queue(app, now)
    with app.database.transaction(1) as tx:
        threads.opt_out(tx, threads.open_thread(tx, ANA, "sms", now), "stop", None, now)
    send_due(app, now)
    assert carrier.sent == []
    assert (row(app, number).state, row(app, number).why) == ("dropped", "opted out")


def test_marketing_without_its_own_consent_never_leaves(app, carrier, now):
    number = queue(app, now, consent="marketing")
    send_due(app, now)
    assert carrier.sent == []
    assert row(app, number).state == "dropped"


def test_typographic_characters_do_not_make_a_text_dear(app, carrier, now):
    queue(app, now, text="It\u2019s time \u2013 about now\u2026")
    send_due(app, now)
    assert carrier.sent[0].text == "It's time - about now..."


def test_a_busy_carrier_gets_the_text_again_later_and_later(app, carrier, now):
    carrier.trouble = CarrierBusy("too many requests", 20429)
    number = queue(app, now)
    pauses, moment = [], now
    for _ in range(4):
        send_due(app, moment)
        assert row(app, number).state == "queued"
        pauses.append(row(app, number).due_at - moment)
        moment = row(app, number).due_at
    assert pauses == [timedelta(minutes=minutes) for minutes in (1, 2, 4, 8)]
    carrier.trouble = None
    send_due(app, moment)
    assert row(app, number).state == "sent"


def test_a_carrier_busy_all_day_means_that_a_person_is_told(app, carrier, now):
    carrier.trouble = CarrierBusy("not reached")
    number, moment = queue(app, now, consent="reply"), now
    for _ in range(10):
        send_due(app, moment)
        moment = row(app, number).due_at
    assert row(app, number).state == "failed"
    settle_uncertain(app, moment)
    assert [reason for reason, _ in opened(app)] == ["text_not_delivered"]


def test_when_the_carrier_is_busy_the_other_texts_are_left_for_later(app, carrier, now):
    carrier.trouble = CarrierBusy("queue full", 21611)
    numbers = [queue(app, now, key=str(number)) for number in range(3)]
    assert send_due(app, now) is False
    assert [row(app, number).attempts for number in numbers] == [1, 0, 0]


def test_a_refused_text_is_never_tried_again_and_a_person_is_told_once(app, carrier, now):
    carrier.trouble = CarrierRefused("not a mobile number", 21614)
    number = queue(app, now)
    send_due(app, now)
    carrier.trouble = None
    send_due(app, now + HOUR)
    assert carrier.sent == []
    assert (row(app, number).state, row(app, number).error_code) == ("failed", 21614)
    settle_uncertain(app, now)
    settle_uncertain(app, now + HOUR)
    ((reason, note),) = opened(app)
    assert reason == "text_not_delivered"
    assert "Your care pack" in note
    assert "21614" in note


def test_an_opt_out_at_the_carrier_is_an_opt_out_here(app, carrier, now):
    carrier.trouble = CarrierRefused("unsubscribed recipient", 21610)
    queue(app, now)
    other = queue(app, now + HOUR, key="later")
    send_due(app, now)
    carrier.trouble = None
    send_due(app, now + 2 * HOUR)
    assert carrier.sent == []
    assert row(app, other).state == "dropped"
    with app.database.reading(1) as tx:
        assert threads.threads_of_client(tx, 1)[0].consent.opted_out_at == now


@pytest.mark.parametrize("trouble", [CarrierUnknown("the answer was lost"), RuntimeError("anything else")])
def test_a_lost_answer_is_never_followed_by_a_second_sending(app, carrier, now, trouble):
    carrier.trouble, carrier.late = trouble, True
    number = queue(app, now)
    send_due(app, now)
    carrier.trouble = None
    for hours in range(1, 48):
        send_due(app, now + hours * HOUR)
    assert len(carrier.sent) == 1
    assert row(app, number).state == "unknown"


def test_an_uncertain_text_that_the_carrier_has_counts_as_sent(app, carrier, now):
    carrier.trouble, carrier.late = CarrierUnknown("the answer was lost"), True
    number = queue(app, now)
    send_due(app, now)
    settle_uncertain(app, now + timedelta(minutes=1))
    assert (row(app, number).state, row(app, number).carrier_sid) == ("sent", "memory-1")
    settle_uncertain(app, now + HOUR)
    assert opened(app) == []


def test_an_uncertain_text_that_the_carrier_does_not_have_goes_before_a_person_once(app, carrier, now):
    carrier.trouble = CarrierUnknown("the answer was lost")
    number = queue(app, now)
    send_due(app, now)
    settle_uncertain(app, now + timedelta(minutes=1))
    assert opened(app) == []
    for minutes in (11, 30, 90):
        settle_uncertain(app, now + timedelta(minutes=minutes))
    assert [reason for reason, _ in opened(app)] == ["text_uncertain"]
    assert row(app, number).state == "unknown"


def test_a_worker_that_dies_while_sending_leaves_an_uncertain_text(app, carrier, now):
    class Died(BaseException):
        pass

    carrier.trouble, carrier.late = Died(), True
    number = queue(app, now)
    with pytest.raises(Died):
        send_due(app, now)
    carrier.trouble = None
    assert row(app, number).state == "sending"
    send_due(app, now + timedelta(minutes=1))
    settle_uncertain(app, now + timedelta(minutes=6))
    assert len(carrier.sent) == 1
    assert row(app, number).state == "sent"


def test_a_text_reported_undelivered_later_goes_before_a_person(app, carrier, now):
    queue(app, now)
    send_due(app, now)
    note_status(app, "memory-1", "undelivered", 30005, now + HOUR)
    note_status(app, "memory-1", "undelivered", 30005, now + HOUR)
    settle_uncertain(app, now + HOUR)
    settle_uncertain(app, now + 2 * HOUR)
    ((reason, note),) = opened(app)
    assert reason == "text_not_delivered"
    assert "30005" in note


def test_a_receipt_that_overtakes_the_answer_counts(app, carrier, now):
    note_status(app, "memory-1", "delivered", None, now)
    number = queue(app, now)
    send_due(app, now)
    assert row(app, number).state == "delivered"


def test_many_workers_send_every_text_once(app, carrier, now):
    for number in range(60):
        queue(app, now, text=f"text {number}", key=str(number))
    gate = threading.Barrier(4)

    def work(name):
        gate.wait()
        while send_due(app, now, worker=name):
            pass

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(work, "abcd"))
    assert sorted(text.text for text in carrier.sent) == sorted(f"text {number}" for number in range(60))


def test_one_round_takes_no_more_than_it_can_send_in_time(app, carrier, now):
    for number in range(AT_ONCE + 5):
        queue(app, now, key=str(number))
    assert send_due(app, now) is True
    assert len(carrier.sent) == AT_ONCE
    assert send_due(app, now) is False


def test_nudges_keep_their_distance_even_when_two_workers_hold_one_each(app, carrier, now):
    with app.database.transaction(1) as tx:
        threads.record_consent(tx, threads.open_thread(tx, ANA, "sms", now), "marketing", now)
    numbers = [queue(app, now, key=str(number), consent="marketing") for number in range(4)]
    gate = threading.Barrier(4)

    def work(name):
        gate.wait()
        send_due(app, now, worker=name)

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(work, "abcd"))
    assert len(carrier.sent) == 1
    waiting = [row(app, number) for number in numbers if row(app, number).state == "queued"]
    assert len(waiting) == 3
    assert all(one.due_at >= now + timedelta(days=app.business.nudge_gap_days) for one in waiting)
