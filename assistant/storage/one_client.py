"""Everything kept about one client, found by following the references between tables: to hand out, or to erase."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from sqlalchemy import Column, RowMapping, Table, bindparam, delete, insert, select, update

from assistant.storage.database import Transaction, ours
from assistant.storage.tables import clients, metadata, threads

Found = dict[Table, list[RowMapping]]
KEYS_AT_ONCE = 500


def everything_about(tx: Transaction, client_id: int) -> Found:
    """The client's row and every row that would go with it, by table."""
    query = select(clients).where(ours(clients), clients.c.id == bindparam("client"))
    found: Found = {clients: list(tx.execute(query, {"client": client_id}).mappings())}
    waiting: list[tuple[Table, Sequence[RowMapping]]] = [(clients, found[clients])]
    while waiting:
        parent, rows = waiting.pop()
        for column in _references(parent, goes_with_it=True):
            known = {_key(column.table, row) for row in found.get(column.table, ())}
            new = [row for row in _pointing(tx, column, rows) if _key(column.table, row) not in known]
            if new:
                found.setdefault(column.table, []).extend(new)
                waiting.append((column.table, new))
    return found


def erase(tx: Transaction, client_id: int) -> Found:
    """Delete all of it and return what was deleted. An opt-out outlives the records: its number and moment stay."""
    found = everything_about(tx, client_id)
    for parent, rows in found.items():
        for column in _references(parent, goes_with_it=False):
            for keys in _in_parts(row["id"] for row in rows):
                loosen = update(column.table).where(ours(column.table), column.in_(keys)).values({column.name: None})
                tx.execute(loosen)
    tx.execute(delete(clients).where(ours(clients), clients.c.id == bindparam("client")), {"client": client_id})
    for thread in found.get(threads, ()):
        if thread["opted_out_at"] is not None:
            kept = ("phone", "channel", "opted_out_at", "created_at")
            tx.execute(insert(threads), {name: thread[name] for name in kept})
    return found


def _references(parent: Table, *, goes_with_it: bool) -> Iterator[Column[Any]]:
    """Columns that point at `parent`, by whether their rows are deleted along with the row they point at."""
    for table in metadata.tables.values():
        for foreign in table.foreign_keys:
            if foreign.column.table is parent and (foreign.ondelete == "CASCADE") is goes_with_it:
                yield table.c[foreign.parent.name]


def _pointing(tx: Transaction, column: Column[Any], rows: Iterable[RowMapping]) -> Iterator[RowMapping]:
    table = column.table
    for keys in _in_parts(row["id"] for row in rows if "id" in row):
        yield from tx.execute(select(table).where(ours(table), column.in_(keys))).mappings()


def _key(table: Table, row: RowMapping) -> tuple[Any, ...]:
    return tuple(row[column.name] for column in table.primary_key)


def _in_parts(keys: Iterable[int]) -> Iterator[list[int]]:
    ordered = list(keys)
    for begin in range(0, len(ordered), KEYS_AT_ONCE):
        yield ordered[begin : begin + KEYS_AT_ONCE]
