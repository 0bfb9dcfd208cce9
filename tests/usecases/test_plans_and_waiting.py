"""Plans that keep themselves, and the waiting list, on the database."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest

from assistant.assembly import Assistant
from assistant.carriers.memory import MemoryCarrier
from assistant.domain.business import Business, Service
from assistant.domain.conversation.situation import InboundMessage, Situation
from assistant.domain.knowledge import Knowledge
from assistant.domain.people import Vessel
from assistant.domain.understanding.reading import Ask, Reading
from assistant.domain.visits import Busy, TimeWish
from assistant.packaged import packaged
from assistant.settings import Settings
from assistant.storage import care, handovers, outbox, plans, threads, visits
from assistant.storage.clients import NewClient, add_client
from assistant.storage.database import Database
from assistant.storage.knowledge_files.reader import read_without_model
from assistant.usecases.converse import receive
from assistant.usecases.keep_plans import NO_TIME, keep_plans
from assistant.usecases.tell_waiting import tell_waiting

ZONE = "America/New_York"
DAY = timedelta(days=1)


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    return read_without_model(packaged("knowledge"))[0]


@pytest.fixture
def app(database: Database, business: Business, knowledge: Knowledge, tmp_path: Path) -> Assistant:
    wash = Service("wash", {"en": "wash", "es": "lavado"}, Decimal(4), Decimal(90))
    business = replace(business, services={"wash": wash})

    def read(text: str, situation: Situation, _: Knowledge) -> Reading:
        return Reading("en", asks=(Ask("pick_slot", 0.9, text),), text=text)

    return Assistant(Settings(home=tmp_path, database_url=""), database, business, knowledge, MemoryCarrier(), read=read)


@pytest.fixture
def ana(app: Assistant, now: datetime) -> tuple[int, int, int]:
    """(client, vessel, thread) of Ana, who agreed to service texts."""
    with app.database.transaction(1) as tx:
        client = add_client(tx, NewClient("Ana Reyes", "+13055550111", "en", ZONE, "US"), now)
        vessel = care.add_vessel(tx, Vessel(0, client, "Sea Thistle", length_ft=Decimal(28), place="Pelican Slough"), now)
        thread = threads.thread_of_client(tx, client, now)
        threads.record_consent(tx, thread, "service", now)
    return client, vessel, thread


@pytest.fixture
def queued(app: Assistant) -> Callable[[], list[str]]:
    def texts() -> list[str]:
        with app.database.reading(1) as tx:
            return [text.text for text in outbox.texts_in(tx, "queued")]

    return texts


def test_a_plan_books_ahead_once_and_tells_its_owner(
    app: Assistant, ana: tuple[int, int, int], now: datetime, queued: Callable[[], list[str]]
) -> None:
    with app.database.transaction(1) as tx:
        plan_id = plans.change_plan(tx, ana[0], "active", [ana[1]], now, begins_on=date(2027, 5, 20), every_days=30, service="wash")
    assert [keep_plans(app, now), keep_plans(app, now)] == [1, 0]
    with app.database.reading(1) as tx:
        [visit] = visits.visits_of_plan(tx, plan_id)
    assert date(2027, 5, 16) <= visit.begins.date() <= date(2027, 5, 29)
    [text] = queued()
    assert text.startswith("Fernwake Boat Care: your plan's next visit is wash for Sea Thistle, ")
    assert "$112. Text MOVE for another day or DROP to skip it." in text
    assert keep_plans(app, now + 27 * DAY) == 1  # the June visit


def test_a_plan_without_a_free_time_is_put_before_a_person_once(
    app: Assistant, ana: tuple[int, int, int], now: datetime
) -> None:
    with app.database.transaction(1) as tx:
        plans.change_plan(tx, ana[0], "active", [ana[1]], now, begins_on=date(2027, 5, 20), every_days=30, service="wash")
        visits.replace_busy_blocks(tx, "vacation", [("v", Busy(0, now, now + 60 * DAY))])
    assert [keep_plans(app, now), keep_plans(app, now)] == [0, 0]
    with app.database.reading(1) as tx:
        assert [one.reason for one in handovers.handovers_in(tx)] == [NO_TIME]


def test_a_plan_at_rest_wakes_on_its_day(app: Assistant, ana: tuple[int, int, int], now: datetime) -> None:
    with app.database.transaction(1) as tx:
        plans.change_plan(tx, ana[0], "paused", [ana[1]], now, begins_on=date(2027, 5, 10), every_days=30, service="wash")
    assert keep_plans(app, now) == 0
    assert keep_plans(app, now + 6 * DAY) == 1
    with app.database.reading(1) as tx:
        assert set(plans.plan_states(tx, ana[0]).values()) == {"active"}


def test_who_waits_is_offered_what_comes_free_and_can_take_it(
    app: Assistant, ana: tuple[int, int, int], now: datetime, queued: Callable[[], list[str]]
) -> None:
    wish = TimeWish(days=(date(2027, 5, 6),))
    with app.database.transaction(1) as tx:
        visits.replace_busy_blocks(tx, "full", [("v", Busy(0, now, now + 3 * DAY))])
        plans.join_waiting_list(tx, ana[2], "wash", [ana[1]], wish, now)
    assert tell_waiting(app, now) == 0
    with app.database.transaction(1) as tx:
        visits.replace_busy_blocks(tx, "full", [])
    assert tell_waiting(app, now + timedelta(hours=14)) == 0  # half past midnight
    assert [tell_waiting(app, now), tell_waiting(app, now)] == [1, 0]
    [text] = queued()
    assert text.startswith("Fernwake Boat Care: a time you wished for has come free. Wash for Sea Thistle, $112: 1) Thu May 6, 8 am.")
    reply = receive(app, InboundMessage("SM1", "+13055550111", app.business.number, "1"), now + timedelta(minutes=5))
    assert reply.replies[0].startswith("You're set: wash for Sea Thistle, Thu May 6, 8 am")
