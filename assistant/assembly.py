"""The one place where the parts meet. Everything else gets what it needs from the `Assistant` value."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TypeAlias

from assistant.carriers.carrier import Carrier
from assistant.carriers.pages import WithPages
from assistant.carriers.screen import ScreenCarrier
from assistant.carriers.twilio_carrier import TwilioCarrier
from assistant.clock import utc_now
from assistant.domain.business import Business
from assistant.domain.conversation.decide import decide, needs_diary
from assistant.domain.conversation.decision import Decision
from assistant.domain.conversation.situation import Situation
from assistant.domain.errors import SettingsError
from assistant.domain.knowledge import Knowledge
from assistant.domain.slots import Diary
from assistant.domain.understanding.read import read
from assistant.domain.understanding.reading import Reading
from assistant.domain.visits import Slot
from assistant.packaged import packaged
from assistant.settings import Settings
from assistant.storage import businesses
from assistant.storage.business_file import read_business
from assistant.storage.database import Database
from assistant.storage.knowledge_files import read_knowledge

Read: TypeAlias = Callable[[str, Situation, Knowledge], Reading]
NeedsDiary: TypeAlias = Callable[[Reading, Situation], bool]
Decide: TypeAlias = Callable[[Reading, Situation, Knowledge, Diary | None, datetime, Slot | None], Decision]


@dataclass(slots=True)
class Assistant:
    """Everything a use case works with. Tests put hand-written parts in.

    `business` and `knowledge` are replaced whole when a person edits them while serving; nothing else ever changes.
    """

    settings: Settings
    database: Database
    business: Business
    knowledge: Knowledge
    carrier: Carrier
    read: Read = read
    needs_diary: NeedsDiary = needs_diary
    decide: Decide = decide


def open_database(settings: Settings) -> Database:
    """The database the settings name."""
    return Database(settings.database_url, settings.pool_size)


def knowledge_folder(settings: Settings) -> Path:
    """Edited knowledge of the home, if there is any; else what comes with the program."""
    edited = settings.home / "knowledge"
    return edited if edited.is_dir() else packaged("knowledge")


def assemble(
    settings: Settings,
    *,
    carrier: Carrier | None = None,
    knowledge: Knowledge | None = None,
    now: datetime | None = None,
) -> Assistant:
    """Join the parts on the home's data. The database must be migrated.

    Raises KnowledgeError when business.toml or knowledge/ have problems, SettingsError when the database is not
    ready.
    """
    business = read_business(settings.business_file)
    knowledge = knowledge or read_knowledge(knowledge_folder(settings), settings.home / "cache")
    database = open_database(settings)
    pending = database.pending_migrations()
    if pending:
        database.dispose()
        raise SettingsError(f"the database is not ready ({', '.join(pending)}): run `aftercare migrate` first")
    businesses.register(database, business, now or utc_now(), [settings.sender])
    sender = WithPages(carrier or carrier_for(settings))
    return Assistant(settings, database, business, knowledge, sender, read, needs_diary, decide)


def carrier_for(settings: Settings) -> Carrier:
    """The real carrier when it is set up; else the screen."""
    if not settings.account_sid or not settings.auth_token or not settings.sender:
        return ScreenCarrier()
    callback = f"{settings.public_url}/sms/receipts" if settings.public_url else ""
    return TwilioCarrier(settings.account_sid, settings.auth_token, settings.sender, callback)
