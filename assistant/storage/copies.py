"""A whole copy of the database in one SQLite file, taken while others read and write: backups and rehearsals.

The copy is itself a database this program can use, whichever kind it was taken from.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from sqlalchemy import insert, select

from assistant.storage.database import Database
from assistant.storage.tables import metadata

ROWS_AT_ONCE = 1000


def copy_to_file(database: Database, target: Path) -> None:
    """Write everything in `database`, as of one moment, to the new file `target`."""
    if database.postgres:
        _copy_rows(database, target)
        return
    with database.engine.connect() as connection, closing(sqlite3.connect(target)) as copy:
        original = connection.connection.driver_connection
        if not isinstance(original, sqlite3.Connection):
            raise TypeError(f"not a SQLite connection: {original!r}")
        original.backup(copy)


def _copy_rows(database: Database, target: Path) -> None:
    """Row by row into fresh tables; references are all there at the end, so they are not checked on the way."""
    copy = Database(f"sqlite:///{target}")
    copy.migrate()
    source = database.engine.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
    with source.begin() as read, copy.engine.connect() as write:
        write.exec_driver_sql("ROLLBACK")
        write.exec_driver_sql("PRAGMA foreign_keys = OFF")
        write.exec_driver_sql("BEGIN IMMEDIATE")
        for table in metadata.tables.values():
            rows = read.execution_options(yield_per=ROWS_AT_ONCE).execute(select(table))
            for part in rows.mappings().partitions():
                write.execute(insert(table), [dict(row) for row in part])
        write.commit()
    copy.dispose()
