"""Booking from the first text to the calendar, on the database: whole conversations, and many at the same moment."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from assistant.assembly import Assistant
from assistant.carriers.memory import MemoryCarrier
from assistant.domain.business import Business, Place, Service
from assistant.domain.conversation.situation import InboundMessage, Situation
from assistant.domain.driving import drive_minutes
from assistant.domain.knowledge import Knowledge
from assistant.domain.people import Vessel
from assistant.domain.understanding.reading import Ask, Reading
from assistant.domain.visits import Visit, VisitState
from assistant.packaged import packaged
from assistant.settings import Settings
from assistant.storage import care, plans, visits
from assistant.storage.clients import NewClient, add_client
from assistant.storage.database import Database
from assistant.storage.knowledge_files.reader import read_without_model
from assistant.usecases.converse import Outcome, receive

ZONE = "America/New_York"
TOPICS = (("move", "move_visit"), ("drop", "drop_visit"), ("when", "when_is_visit"), ("plan", "plan_begin"), ("list", "waiting_list"))


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    """The shipped texts; what a text wants is told by its first words here, not by the model."""
    found, problems = read_without_model(packaged("knowledge"))
    assert not problems
    return found


def read(text: str, situation: Situation, knowledge: Knowledge) -> Reading:
    topic = next((topic for word, topic in TOPICS if text.lower().startswith(word)), "book_visit")
    return Reading("en", asks=(Ask(topic, 0.9, text.lower()),), text=text)


@pytest.fixture
def business(business: Business) -> Business:
    """Two visits of two hours fit a morning; the calendar knows how far the harbors lie apart."""
    wash = Service("wash", {"en": "wash", "es": "lavado"}, Decimal(4), Decimal(90), Decimal("0.0625"), 0)
    places = (Place("Pelican Slough", 25.77, -80.14), Place("Cutter's Bight", 25.69, -80.16))
    hours = {weekday: (time(8), time(12)) for weekday in range(5)}
    return replace(business, hours=hours, places=places, services={"wash": wash}, base=(25.80, -80.19), hold_minutes=1)


@pytest.fixture
def app(database: Database, business: Business, knowledge: Knowledge, tmp_path: Path) -> Assistant:
    return Assistant(Settings(home=tmp_path, database_url=""), database, business, knowledge, MemoryCarrier(), read=read)


@pytest.fixture
def say(app: Assistant, now: datetime) -> Callable[..., Outcome]:
    """Ana (one boat) texts; each text has its own number."""
    with app.database.transaction(1) as tx:
        client = add_client(tx, NewClient("Ana Reyes", "+13055550111", "en", ZONE, "US"), now)
        care.add_vessel(tx, Vessel(0, client, "Sea Thistle", length_ft=Decimal(32), place="Pelican Slough"), now)
    sent: list[str] = []

    def text(words: str, at: datetime = now, sender: str = "+13055550111") -> Outcome:
        sent.append(words)
        outcome = receive(app, InboundMessage(f"SM{len(sent)}", sender, app.business.number, words), at)
        assert outcome.decision is not None, "the program failed on this text"
        return outcome

    return text


def booked(app: Assistant, now: datetime) -> tuple[Visit, ...]:
    with app.database.reading(1) as tx:
        return visits.visits_between(tx, now, now + timedelta(days=365))


def test_a_visit_is_booked_moved_and_called_off_in_the_calendar(
    app: Assistant, say: Callable[..., Outcome], now: datetime
) -> None:
    say("a wash on thursday please")
    reply = say("1").replies[0]
    assert reply.startswith("You're set: wash for Sea Thistle, Thu May 6, 8 am, Pelican Slough, $128.")
    [visit] = booked(app, now)
    assert (visit.begins, visit.service, visit.place, visit.price) == (
        datetime(2027, 5, 6, 12, tzinfo=UTC), "wash", "Pelican Slough", Decimal(128),
    )  # fmt: skip
    say("move it two hours later")
    assert "Thu May 6, 10 am" in say("1").replies[0]
    [moved] = booked(app, now)
    assert (moved.id, moved.begins, moved.sequence) == (visit.id, visit.begins + timedelta(hours=2), 1)
    say("drop it")
    assert booked(app, now) == ()
    with app.database.reading(1) as tx:
        gone = visits.find_visit(tx, visit.id)
    assert gone is not None
    assert (gone.state, gone.sequence) == (VisitState.CALLED_OFF, 2)


def test_an_offer_that_ran_out_is_taken_if_it_is_still_free_and_replaced_if_not(
    app: Assistant, say: Callable[..., Outcome], now: datetime
) -> None:
    with app.database.transaction(1) as tx:
        dana = add_client(tx, NewClient("Dana Whit", "+13055550144", "en", ZONE, "US"), now)
        care.add_vessel(tx, Vessel(0, dana, "Saltbox", length_ft=Decimal(32), place="Pelican Slough"), now)
    later = now + timedelta(hours=1)
    say("a wash on thursday please")
    say("a wash on thursday please", later, "+13055550144")
    assert "Thu May 6, 8 am" in say("1", later + timedelta(hours=1), "+13055550144").replies[0]
    lost = say("1", later + timedelta(hours=2)).replies[0]
    assert lost.startswith("Sorry, somebody else took that time a moment ago.")
    assert "Reply 1, 2 or 3." in lost
    assert "You're set" in say("1", later + timedelta(hours=2)).replies[0]
    assert len(booked(app, now)) == 2


def test_a_length_that_was_missing_is_asked_for_kept_and_used(
    app: Assistant, say: Callable[..., Outcome], now: datetime
) -> None:
    with app.database.transaction(1) as tx:
        bert = add_client(tx, NewClient("Bert Olsen", "+12165550122", "en", ZONE, "US"), now)
        care.add_vessel(tx, Vessel(0, bert, "Paper Moon", place="Pelican Slough"), now)
    assert "How long is Paper Moon" in say("a wash on thursday", now, "+12165550122").replies[0]
    assert "$136" in say("34 ft", now, "+12165550122").replies[0]
    with app.database.reading(1) as tx:
        assert [vessel.length_ft for vessel in care.vessels_of_client(tx, bert)] == [Decimal(34)]


def test_a_plan_and_a_wish_on_the_waiting_list_are_kept_as_agreed(
    app: Assistant, say: Callable[..., Outcome], now: datetime
) -> None:
    say("plan please, every two weeks from june")
    say("1")
    say("list me for a wash on any friday morning")
    with app.database.reading(1) as tx:
        [(plan, boats)] = plans.active_plans(tx)
        [waiting] = plans.waiting(tx)
    assert (plan.every_days, plan.service, plan.begins_on, len(boats)) == (14, "wash", date(2027, 6, 1), 1)
    assert (waiting.service, waiting.wish.weekdays, waiting.wish.latest) == ("wash", frozenset({4}), 11 * 60 + 45)


def test_sixty_four_clients_who_pick_ten_times_at_once(app: Assistant, now: datetime) -> None:
    """Nothing is held any more: ten are booked, the others are told kindly and offered other times, none is booked twice."""
    app.business = replace(app.business, hold_minutes=0)
    clients = range(64)
    _on_file(app, clients, now)
    for number in clients:
        day = ("monday", "tuesday", "wednesday", "thursday", "friday")[number % 5]
        assert "Reply 1 or 2." in _text(app, number, f"a wash next week on {day}", now)
    replies = _at_once([lambda n=n: _text(app, n, str(1 + n // 5 % 2), now + timedelta(minutes=5)) for n in clients])  # type: ignore[misc]
    taken = [reply for reply in replies if reply.startswith("You're set")]
    told = [reply for reply in replies if reply.startswith("Sorry, somebody else took that time") and "1)" in reply]
    assert (len(taken), len(told)) == (10, 54)
    calendar = booked(app, now)
    assert len(calendar) == 10
    assert {visit.begins.date() for visit in calendar} == {date(2027, 5, day) for day in range(10, 15)}
    _drives_fit(app, calendar)


def test_offers_made_at_the_same_moment_never_meet_and_all_can_be_taken(app: Assistant, now: datetime) -> None:
    app.business = replace(app.business, hold_minutes=120)
    clients = range(12)
    _on_file(app, clients, now)
    offers = _at_once([lambda n=n: _text(app, n, "a wash please", now) for n in clients])  # type: ignore[misc]
    assert all("Reply 1" in offer for offer in offers)
    replies = _at_once([lambda n=n: _text(app, n, "1", now + timedelta(minutes=5)) for n in clients])  # type: ignore[misc]
    assert all(reply.startswith("You're set") for reply in replies)
    assert len(booked(app, now)) == len(clients)
    _drives_fit(app, booked(app, now))


def _on_file(app: Assistant, clients: range, now: datetime) -> None:
    with app.database.transaction(1) as tx:
        for number in clients:
            client = add_client(tx, NewClient(f"Client {number}", _phone(number), "en", ZONE, "US"), now)
            place = ("Pelican Slough", "Cutter's Bight")[number % 5 % 2]
            care.add_vessel(tx, Vessel(0, client, f"Boat {number}", length_ft=Decimal(32), place=place), now)


def _phone(number: int) -> str:
    return f"+1305555{100 + number:04d}"


def _text(app: Assistant, number: int, words: str, at: datetime) -> str:
    sid = f"SM-{number}-{words}-{at.isoformat()}"
    return receive(app, InboundMessage(sid, _phone(number), app.business.number, words), at).replies[0]


def _at_once(work: list[Callable[[], str]]) -> list[str]:
    gate, results = threading.Barrier(len(work)), [""] * len(work)

    def run(place: int) -> None:
        gate.wait()
        results[place] = work[place]()

    workers = [threading.Thread(target=run, args=(place,)) for place in range(len(work))]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    return results


def _drives_fit(app: Assistant, calendar: tuple[Visit, ...]) -> None:
    """Visits by time: each ends early enough for the drive to the next, and all lie within working hours."""
    for before, after in pairwise(calendar):
        drive = timedelta(minutes=drive_minutes(app.business, before.place, after.place))
        assert before.ends + drive <= after.begins or before.crew != after.crew
    zone = ZoneInfo(app.business.zone)
    assert {visit.begins.astimezone(zone).hour for visit in calendar} <= set(range(8, 12))
