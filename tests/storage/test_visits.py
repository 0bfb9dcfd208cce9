"""Time is taken once: quarters, holds, and what happens when many want the same hour."""

from __future__ import annotations

import threading
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import select

from assistant.domain.errors import SlotTaken
from assistant.domain.visits import QUARTER, Busy, Slot, VisitState
from assistant.storage import threads, visits
from assistant.storage.clients import NewClient, add_client
from assistant.storage.database import Database, Transaction, ours
from assistant.storage.tables import holds, occupied
from assistant.storage.tables import visits as visit_rows

HOUR = timedelta(hours=1)
ZONE = "America/New_York"


@pytest.fixture
def clients(database: Database, now: datetime) -> tuple[int, int]:
    with database.transaction(1) as tx:
        first, second = (
            add_client(tx, NewClient(name, phone, "en", ZONE, "US"), now)
            for name, phone in (("Ana Reyes", "+13055550111"), ("Chidi Obi", "+13055550133"))
        )
    return first, second


def slot(now: datetime, begins: float, ends: float, crew: int = 1) -> Slot:
    return Slot(crew, now + begins * HOUR, now + ends * HOUR)


def book(tx: Transaction, client: int, wanted: Slot, now: datetime) -> int:
    return visits.book_visit(tx, client, wanted, "wash", (), ZONE, now)


@given(st.datetimes(datetime(1971, 1, 1), datetime(2100, 1, 1)), st.integers(1, 60_000))
def test_quarters_cover_a_stretch_and_no_more(begins: datetime, seconds: int) -> None:
    begins = begins.replace(tzinfo=UTC)
    ends = begins + timedelta(seconds=seconds)
    taken = visits.quarters(begins, ends)
    epoch = datetime(1970, 1, 1, tzinfo=UTC)
    assert epoch + taken[0] * QUARTER <= begins < epoch + (taken[0] + 1) * QUARTER
    assert epoch + taken[-1] * QUARTER < ends <= epoch + (taken[-1] + 1) * QUARTER


@pytest.mark.parametrize(
    ("begins", "ends", "crew", "free"),
    [
        (24, 25, 1, False),
        (24.5, 26, 1, False),
        (23, 24.1, 1, False),
        (25, 26, 1, True),
        (23, 24, 1, True),
        (24, 25, 2, True),
    ],
)
def test_a_time_is_taken_by_one_visit_of_a_crew(
    database: Database, clients: tuple[int, int], now: datetime, begins: float, ends: float, crew: int, free: bool
) -> None:
    with database.transaction(1) as tx:
        book(tx, clients[0], slot(now, 24, 25), now)
        try:
            with tx.savepoint():
                book(tx, clients[1], slot(now, begins, ends, crew), now)
            booked = True
        except SlotTaken:
            booked = False
    assert booked == free


def test_of_many_who_want_the_same_hour_one_gets_it(
    database: Database, clients: tuple[int, int], now: datetime
) -> None:
    gate, results = threading.Barrier(12), []

    def want(number: int) -> None:
        wanted = slot(now, 24 + (number % 3) * 0.25, 26)
        gate.wait()
        try:
            with database.transaction(1) as tx:
                results.append(book(tx, clients[number % 2], wanted, now))
        except SlotTaken:
            results.append(0)

    workers = [threading.Thread(target=want, args=(number,)) for number in range(12)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert len(results) == 12
    assert sum(bool(result) for result in results) == 1
    with database.reading(1) as tx:
        assert len(visits.visits_between(tx, now, now + 48 * HOUR)) == 1


def test_a_visit_keeps_wall_time_zone_and_instant(
    database: Database, clients: tuple[int, int], now: datetime
) -> None:
    with database.transaction(1) as tx:
        visit_id = book(tx, clients[0], slot(now, 24, 25), now)
        row = tx.execute(select(visit_rows).where(ours(visit_rows))).one()
        assert (row.wall_begins, row.zone) == ("2027-05-05T10:30", ZONE)
        visit = visits.find_visit(tx, visit_id)
    assert visit is not None
    assert (visit.begins, visit.state, visit.revised_at) == (now + 24 * HOUR, VisitState.BOOKED, now)


def test_a_visit_may_move_within_its_own_time_but_not_onto_another(
    database: Database, clients: tuple[int, int], now: datetime
) -> None:
    with database.transaction(1) as tx:
        mine = book(tx, clients[0], slot(now, 24, 26), now)
        book(tx, clients[1], slot(now, 27, 28), now)
        visits.move_visit(tx, mine, slot(now, 25, 27), now)
        with pytest.raises(SlotTaken), tx.savepoint():
            visits.move_visit(tx, mine, slot(now, 26, 28), now)
        visit = visits.find_visit(tx, mine)
        assert visit is not None
        assert (visit.begins, visit.sequence) == (now + 25 * HOUR, 1)


def test_a_visit_called_off_frees_its_time_and_cannot_be_moved(
    database: Database, clients: tuple[int, int], now: datetime
) -> None:
    with database.transaction(1) as tx:
        gone = book(tx, clients[0], slot(now, 24, 25), now)
        visits.call_off_visit(tx, gone, "rain", now)
        book(tx, clients[1], slot(now, 24, 25), now)
        for change in (
            lambda: visits.move_visit(tx, gone, slot(now, 30, 31), now),
            lambda: visits.call_off_visit(tx, gone, "", now),
            lambda: visits.finish_visit(tx, gone, now),
        ):
            with pytest.raises(SlotTaken), tx.savepoint():
                change()


def test_a_held_time_is_kept_from_others_until_it_expires(
    database: Database, clients: tuple[int, int], now: datetime
) -> None:
    with database.transaction(1) as tx:
        thread = threads.thread_of_client(tx, clients[0], now)
        visits.hold_slots(tx, thread, [slot(now, 24, 25), slot(now, 24.5, 26)], now + HOUR, now, None)
        with pytest.raises(SlotTaken), tx.savepoint():
            book(tx, clients[1], slot(now, 25, 26), now)
        book(tx, clients[1], slot(now, 25, 26), now + HOUR)
        assert tx.execute(select(holds).where(ours(holds))).all() == []


def test_a_new_offer_replaces_the_one_before(database: Database, clients: tuple[int, int], now: datetime) -> None:
    with database.transaction(1) as tx:
        thread = threads.thread_of_client(tx, clients[0], now)
        visits.hold_slots(tx, thread, [slot(now, 24, 25)], now + HOUR, now, None)
        visits.hold_slots(tx, thread, [slot(now, 24.5, 25.5), slot(now, 48, 49)], now + HOUR, now, None)
        taken = tx.execute(select(occupied.c.quarter).where(ours(occupied))).all()
        assert len(taken) == 8


def test_a_diary_shows_what_is_taken_but_not_what_is_held_for_oneself(
    database: Database, clients: tuple[int, int], now: datetime
) -> None:
    with database.transaction(1) as tx:
        book(tx, clients[0], slot(now, 24, 25), now)
        visits.call_off_visit(tx, book(tx, clients[0], slot(now, 26, 27), now), "", now)
        thread = threads.thread_of_client(tx, clients[1], now)
        visits.hold_slots(tx, thread, [slot(now, 30, 31)], now + HOUR, now, None)
        closed = Busy(0, now + 48 * HOUR, now + 50 * HOUR, "yard")
        visits.replace_busy_blocks(tx, "own", [("a", Busy(2, now + 90 * HOUR, now + 91 * HOUR)), ("b", closed)])
        visits.replace_busy_blocks(tx, "own", [("b", closed)])
        first, last = date(2027, 5, 4), date(2027, 5, 10)
        others = visits.load_diary(tx, first, last, now, clients[0]).busy
        mine = visits.load_diary(tx, first, last, now, clients[1]).busy
        later = visits.load_diary(tx, first, last, now + HOUR).busy
    assert [busy.begins for busy in others] == [now + hours * HOUR for hours in (24, 30, 48)]
    assert [busy.begins for busy in mine] == [now + hours * HOUR for hours in (24, 48)]
    assert later == mine
    assert mine[-1] == closed
