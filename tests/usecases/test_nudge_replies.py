"""What a nudge asks for is understood, carried out, and changes what comes next: through the whole of it, both ways."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from assistant.assembly import Assistant
from assistant.carriers.memory import MemoryCarrier
from assistant.domain.conversation.decide import decide, needs_diary
from assistant.domain.conversation.situation import InboundMessage
from assistant.domain.people import Application, Vessel
from assistant.domain.understanding.read import read
from assistant.packaged import packaged
from assistant.storage import care, clients, threads
from assistant.storage.knowledge_files import read_knowledge
from assistant.usecases.converse import receive
from assistant.usecases.plan_nudges import plan_nudges
from assistant.usecases.send_due import send_due
from tests.hand_made import hand_made
from tests.nudging import at

ANA = "+13055550111"
SEALED, FIRST_TOPPER = date(2027, 1, 4), date(2027, 2, 3)


@pytest.fixture(scope="module")
def knowledge(tmp_path_factory):
    return read_knowledge(packaged("knowledge"), Path(tmp_path_factory.getbasetemp().parent / "fitted"))


@pytest.fixture
def app(database, business, tmp_path, knowledge) -> Assistant:
    hand_wired = hand_made(database, business, tmp_path, carrier=MemoryCarrier())
    return replace(hand_wired, knowledge=knowledge, read=read, needs_diary=needs_diary, decide=decide)


def ana(app, language="en"):
    """Ana's boat was sealed on 4 January, and the look back a week later is behind us."""
    now = at(SEALED, 17)
    with app.database.transaction(1) as tx:
        client = clients.add_client(tx, clients.NewClient("Ana Reyes", ANA, language, "America/New_York", "US"), now)
        for kind in ("service", "marketing"):
            threads.record_consent(tx, threads.thread_of_client(tx, client, now), kind, now)
        vessel = care.add_vessel(tx, Vessel(0, client, "Sea Thistle"), now)
        care.add_application(tx, Application(0, vessel, "hull", "sealant", SEALED), now)


def until(app, last, begin=SEALED):
    """Work every day at noon; the texts that left, with their day."""
    found = []
    day = begin
    while day <= last:
        before = len(app.carrier.sent)
        while plan_nudges(app, at(day, 12)):
            pass
        while send_due(app, at(day, 12)):
            pass
        found += [(day, text.text) for text in app.carrier.sent[before:]]
        day += timedelta(days=1)
    return found


def reply(app, text, day, number=1):
    message = InboundMessage(f"SM{number}", ANA, app.business.number, text)
    return receive(app, message, at(day, 13)).replies


@pytest.mark.parametrize(("language", "word"), [("en", "DONE"), ("es", "LISTO")])
def test_done_logs_the_topper_and_the_next_one_comes_a_month_later(app, language, word):
    ana(app, language)
    assert word in until(app, FIRST_TOPPER)[-1][1]
    reply(app, word, FIRST_TOPPER + timedelta(days=2))
    with app.database.reading(1) as tx:
        (fleet,) = care.fleets(tx, 1)
    assert [(event.kind.value, event.on) for event in fleet.events] == [("topper", date(2027, 2, 5))]
    following = until(app, date(2027, 3, 20), FIRST_TOPPER + timedelta(days=3))
    assert [day for day, _ in following] == [date(2027, 3, 7)]


@pytest.mark.parametrize(("language", "word"), [("en", "LATER"), ("es", "LUEGO")])
def test_later_brings_it_again_in_two_weeks(app, language, word):
    ana(app, language)
    asked = until(app, FIRST_TOPPER)[-1][1]
    assert word in asked
    reply(app, word, FIRST_TOPPER)
    assert until(app, date(2027, 3, 4), FIRST_TOPPER + timedelta(days=1)) == [(date(2027, 2, 17), asked)]


@pytest.mark.parametrize(("language", "word"), [("en", "MUTE"), ("es", "SILENCIAR")])
def test_mute_ends_the_topper_nudges_and_nothing_else(app, language, word):
    ana(app, language)
    assert word in until(app, FIRST_TOPPER)[-1][1]
    reply(app, word, FIRST_TOPPER)
    with app.database.reading(1) as tx:
        (thread,) = threads.threads_of_client(tx, 1)
    assert thread.consent.reachable
    assert thread.consent.service
    following = until(app, date(2027, 6, 10), FIRST_TOPPER + timedelta(days=1))
    assert [day for day, _ in following] == [date(2027, 5, 28)]
    assert "80%" in following[0][1]


@pytest.mark.parametrize(("language", "word"), [("en", "BOOK"), ("es", "RESERVAR")])
def test_the_word_for_a_reseal_begins_a_booking_and_the_nudges_rest_meanwhile(app, language, word):
    ana(app, language)
    assert word in until(app, date(2027, 5, 28))[-1][1]
    (answer,) = reply(app, word, date(2027, 5, 28))
    assert "?" in answer
    with app.database.reading(1) as tx:
        (thread,) = threads.threads_of_client(tx, 1)
    assert thread.consent.reachable


def test_stop_ends_everything_also_what_is_queued(app):
    ana(app)
    until(app, FIRST_TOPPER - timedelta(days=1))
    early = at(FIRST_TOPPER, 10)
    while plan_nudges(app, early):
        pass
    reply(app, "please stop texting me", FIRST_TOPPER)
    assert until(app, date(2027, 12, 31), FIRST_TOPPER) == []
