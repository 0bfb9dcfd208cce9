"""All that is kept about one client is found, handed out and erased; nothing of others is touched."""

from __future__ import annotations

from datetime import date

import pytest

from assistant.domain.conversation.situation import InboundMessage
from assistant.domain.people import Application, Kept, Vessel
from assistant.storage import care, clients, handovers, messages, one_client, threads
from assistant.storage.tables import metadata

PHONES = {"Ana Reyes": "+13055550111", "Bert Olsen": "+12165550122"}


@pytest.fixture
def people(database, now):
    """Two clients with a boat, a coating, a text, a handover that taught something, and consent."""
    with database.transaction(1) as tx:
        return {name: _client(tx, name, phone, now) for name, phone in PHONES.items()}


def _client(tx, name, phone, now):
    client = clients.add_client(tx, clients.NewClient(name, phone, "en", "America/New_York", "US"), now)
    vessel = care.add_vessel(tx, Vessel(0, client, "Sea Thistle", kept=Kept.LIFT), now)
    care.add_application(tx, Application(0, vessel, "hull", "sealant", date(2027, 3, 2)), now)
    thread = threads.thread_of_client(tx, client, now)
    text = messages.keep_inbound(tx, thread, InboundMessage(f"SM{phone}", phone, "+13055550100", "Hi"), None, now)
    handover = handovers.open_handover(tx, thread, "unclear", now, message_id=text)
    handovers.teach(tx, "Hi", "Hello", "Nola", now, handover_id=handover)
    threads.record_consent(tx, thread, "service", now)
    return client


def _counts(database):
    with database.engine.connect() as connection:
        return {table.name: len(connection.execute(table.select()).all()) for table in metadata.tables.values()}


def test_everything_of_the_client_is_found_and_nothing_of_the_other(database, people):
    with database.reading(1) as tx:
        found = one_client.everything_about(tx, people["Ana Reyes"])
    names = {table.name: len(rows) for table, rows in found.items()}
    assert names == {"clients": 1, "vessels": 1, "applications": 1, "next_due": 1, "threads": 1, "messages": 1,
                     "handovers": 1, "consent_history": 1}  # fmt: skip


def test_erasing_leaves_no_row_of_the_client_and_all_of_the_other(database, people):
    before = _counts(database)
    with database.transaction(1) as tx:
        one_client.erase(tx, people["Ana Reyes"])
    after = _counts(database)
    assert after["taught"] == before["taught"], "what the detailer taught stays"
    assert {name: before[name] - after[name] for name in before if before[name] != after[name]} == {
        "clients": 1, "vessels": 1, "applications": 1, "next_due": 1, "threads": 1, "messages": 1,
        "handovers": 1, "consent_history": 1,
    }  # fmt: skip
    with database.reading(1) as tx:
        assert clients.client_of_phone(tx, PHONES["Bert Olsen"]) is not None
        assert not any(one_client.everything_about(tx, people["Ana Reyes"]).values())


def test_an_opt_out_outlives_the_records(database, people, now):
    with database.transaction(1) as tx:
        thread = threads.thread_of_client(tx, people["Ana Reyes"], now)
        threads.opt_out(tx, thread, "stop", None, now)
        one_client.erase(tx, people["Ana Reyes"])
        fresh = clients.add_client(
            tx, clients.NewClient("Ana Reyes", PHONES["Ana Reyes"], "en", "America/New_York", "US"), now
        )
        (thread_again,) = threads.threads_of_client(tx, fresh)
    assert thread_again.consent.opted_out_at == now
