"""A copy holds what the original held, can be worked with, and leaves the original alone."""

from __future__ import annotations

import threading

import pytest

from assistant.storage import clients
from assistant.storage.copies import copy_to_file
from assistant.storage.database import Database
from assistant.storage.tables import metadata

ANA = clients.NewClient("Ana Reyes", "+13055550111", "en", "America/New_York", "US")
BERT = clients.NewClient("Bert Olsen", "+12165550122", "en", "America/New_York", "US")


@pytest.fixture
def copied(database, now, tmp_path):
    with database.transaction(1) as tx:
        clients.add_client(tx, ANA, now)
    target = tmp_path / "copy.sqlite3"
    copy_to_file(database, target)
    copy = Database(f"sqlite:///{target}")
    yield copy
    copy.dispose()


def test_every_row_of_every_table_is_copied(database, copied):
    for table in metadata.tables.values():
        with database.engine.connect() as one, copied.engine.connect() as other:
            assert one.execute(table.select()).all() == other.execute(table.select()).all(), table.name


def test_a_copy_is_up_to_date_and_goes_its_own_way(database, copied, now):
    assert copied.pending_migrations() == ()
    with copied.transaction(1) as tx:
        clients.add_client(tx, BERT, now)
    with database.reading(1) as tx:
        assert clients.client_of_phone(tx, BERT.phone) is None
    with copied.reading(1) as tx:
        assert [client.name for client in clients.search(tx)] == ["Ana Reyes", "Bert Olsen"]


def test_a_copy_can_be_taken_while_others_write(database, now, tmp_path):
    stop = threading.Event()

    def write() -> None:
        number = 0
        while not stop.is_set():
            number += 1
            with database.transaction(1) as tx:
                clients.add_client(tx, clients.NewClient("", f"+1305555{number:04d}", "en", "UTC", "US"), now)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for number in range(5):
            copy_to_file(database, tmp_path / f"{number}.sqlite3")
    finally:
        stop.set()
        writer.join()
    copy = Database(f"sqlite:///{tmp_path / '4.sqlite3'}")
    with copy.reading(1) as tx:
        assert tx.connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
        assert clients.search(tx)
    copy.dispose()
