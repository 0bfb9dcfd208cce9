"""Sets the stage for a story: a home of its own with the business and the clients of demo_conversations/."""

from __future__ import annotations

import csv
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

from assistant.assembly import assemble, open_database
from assistant.carriers.memory import MemoryCarrier
from assistant.domain.knowledge import Knowledge
from assistant.doors.stories.player import Stage
from assistant.doors.stories.story import Story
from assistant.packaged import packaged
from assistant.settings import Settings
from assistant.storage.business_file import read_business
from assistant.storage.knowledge_files import read_knowledge
from assistant.usecases.take_over_records import take_over

ACCOUNT = "AC" + "0" * 32
TOKEN = "a token that signs only stories"  # noqa: S105 (opens nothing)


def story_files() -> list[Path]:
    """The stories that come with the program, in the order they are meant to be read."""
    return sorted(packaged("demo_conversations").glob("[0-9]*.md"))


@contextmanager
def stage_for(story: Story, database_url: str = "") -> Iterator[Stage]:
    """A stage with fresh data (or on the given empty database), gone when the block ends."""
    props = packaged("demo_conversations")
    with tempfile.TemporaryDirectory(prefix="aftercare-story-") as folder:
        home = Path(folder)
        business = read_business(props / "business.toml")
        (home / "business.toml").write_bytes((props / "business.toml").read_bytes())
        settings = Settings(
            home=home,
            database_url=database_url or f"sqlite:///{home / 'aftercare.sqlite3'}",
            public_url="https://texts.fernwake.example",
            account_sid=ACCOUNT,
            auth_token=TOKEN,
            sender=business.number,
        )
        starts = story.starts.replace(tzinfo=ZoneInfo(business.zone)).astimezone(UTC)
        database = open_database(settings)
        database.migrate()
        database.dispose()
        carrier = MemoryCarrier()
        assistant = assemble(settings, carrier=carrier, knowledge=shipped_knowledge(), now=starts)
        try:
            take_over(assistant, props / "clients.csv", starts)
            yield Stage(assistant, carrier, _people(props / "clients.csv"), story)
        finally:
            assistant.database.dispose()


@cache
def shipped_knowledge() -> Knowledge:
    """What comes with the program, read once for all stories."""
    return read_knowledge(packaged("knowledge"))


def _people(table: Path) -> dict[str, str]:
    """First names, as stories use them, with their numbers."""
    with table.open(encoding="utf-8", newline="") as file:
        return {row["name"].split()[0]: row["phone"] for row in csv.DictReader(file) if row["name"]}
