"""Migrations, transactions and the chokepoint that keeps businesses apart."""

from __future__ import annotations

import threading
from dataclasses import replace
from datetime import datetime

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import insert, select, text, update
from sqlalchemy.exc import IntegrityError

from assistant.storage import businesses
from assistant.storage.database import Database, UnscopedQuery, ours
from assistant.storage.migrations import context_options
from assistant.storage.tables import clients, metadata, threads, vessels


def test_migrations_build_exactly_the_tables_of_the_models(database: Database) -> None:
    with database.engine.connect() as connection:
        options = context_options(connection)
        context = MigrationContext.configure(connection, opts=options)
        assert compare_metadata(context, metadata) == []


def test_an_empty_database_has_steps_pending_and_a_migrated_one_none(database: Database, tmp_path) -> None:
    empty = Database(f"sqlite:///{tmp_path / 'empty.sqlite3'}")
    assert empty.pending_migrations()[0].startswith("0001 ")
    empty.migrate()
    assert empty.pending_migrations() == ()
    assert database.pending_migrations() == ()
    empty.dispose()


def test_several_processes_may_migrate_at_once(database: Database) -> None:
    for table in reversed(metadata.sorted_tables):
        with database.engine.begin() as connection:
            table.drop(connection)
    with database.engine.begin() as connection:
        connection.execute(text("DROP TABLE alembic_version"))
    faults = _at_once(4, lambda _: database.migrate())
    assert faults == []
    assert database.pending_migrations() == ()


def test_writers_wait_for_each_other_and_lose_no_update(database: Database, now: datetime) -> None:
    with database.transaction(1) as tx:
        client = tx.insert(insert(clients), {"phone": "+13055550111", "name": "0", "created_at": now})
    lock = select(clients.c.name).where(ours(clients), clients.c.id == client).with_for_update()

    def add_one(_: int) -> None:
        with database.transaction(1) as tx:
            name = tx.execute(lock).scalar_one()
            tx.execute(update(clients).where(ours(clients), clients.c.id == client).values(name=str(int(name) + 1)))

    assert _at_once(20, add_one) == []
    with database.reading(1) as tx:
        assert tx.execute(select(clients.c.name).where(ours(clients))).scalar_one() == "20"


def test_a_reader_sees_one_snapshot_while_others_write(database: Database, now: datetime) -> None:
    with database.reading(1) as reader:
        query = select(clients.c.id).where(ours(clients))
        assert reader.execute(query).all() == []
        with database.transaction(1) as tx:
            tx.insert(insert(clients), {"phone": "+13055550111", "created_at": now})
        assert reader.execute(query).all() == []


@pytest.mark.parametrize(
    "statement",
    [
        select(clients.c.name),
        select(clients.c.name).where(ours(threads)),
        select(clients.c.name).join(threads, threads.c.client_id == clients.c.id).where(ours(threads)),
        select(clients.c.name).where(ours(clients), clients.c.id.in_(select(vessels.c.client_id))),
        update(clients).values(name="x"),
        select(metadata.tables["businesses"].c.name),
    ],
)
def test_a_query_that_does_not_name_its_business_is_refused(database: Database, statement) -> None:
    with database.transaction(1) as tx, pytest.raises(UnscopedQuery):
        tx.execute(statement)


def test_one_business_never_sees_or_changes_rows_of_another(database: Database, business, now: datetime) -> None:
    businesses.register(database, replace(business, id=2, name="Other Boat Care", number="+13055550190"), now)
    with database.transaction(1) as tx:
        tx.insert(insert(clients), {"phone": "+13055550111", "name": "Ana", "created_at": now})
    with database.transaction(2) as tx:
        assert tx.execute(select(clients).where(ours(clients))).all() == []
        assert tx.execute(update(clients).where(ours(clients)).values(name="taken")).rowcount == 0
        tx.insert(insert(clients), {"phone": "+13055550111", "name": "Another Ana", "created_at": now})
    assert businesses.owner_of(database, "+13055550190") == 2
    assert businesses.owner_of(database, "+13055550199") is None
    assert businesses.all_ids(database) == (1, 2)


def test_a_moment_without_a_zone_is_refused(database: Database, now: datetime) -> None:
    with database.transaction(1) as tx, pytest.raises(Exception, match="has no zone"):
        tx.insert(insert(clients), {"phone": "+13055550111", "created_at": now.replace(tzinfo=None)})


def test_what_a_savepoint_held_is_undone_alone(database: Database, now: datetime) -> None:
    with database.transaction(1) as tx:
        tx.insert(insert(clients), {"phone": "+13055550111", "created_at": now})
        rows = [{"phone": "+13055550122", "created_at": now}, {"phone": "+13055550111", "created_at": now}]
        with pytest.raises(IntegrityError), tx.savepoint():
            tx.execute(insert(clients), rows)
    with database.reading(1) as tx:
        assert tx.execute(select(clients.c.phone).where(ours(clients))).scalars().all() == ["+13055550111"]


def _at_once(count: int, work) -> list[BaseException]:
    """Run `work(number)` in many threads at the same moment; give back what they raised."""
    faults: list[BaseException] = []
    gate = threading.Barrier(count)

    def run(number: int) -> None:
        gate.wait()
        try:
            work(number)
        except BaseException as fault:
            faults.append(fault)

    workers = [threading.Thread(target=run, args=(number,)) for number in range(count)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    return faults
