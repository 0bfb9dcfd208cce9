"""Where the parts meet: what is missing is said, and what is there is joined."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from assistant.assembly import assemble, carrier_for, knowledge_folder, open_database
from assistant.carriers.memory import MemoryCarrier
from assistant.carriers.screen import ScreenCarrier
from assistant.carriers.twilio_carrier import TwilioCarrier
from assistant.domain.errors import KnowledgeError, SettingsError
from assistant.settings import Settings
from assistant.storage import businesses
from assistant.storage.business_file import template_text

NO_KNOWLEDGE: Any = object()


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    (tmp_path / "business.toml").write_text(template_text(), encoding="utf-8")
    return replace(Settings.from_environment({"AFTERCARE_HOME": str(tmp_path)}), sender="MG" + "0" * 32)


def test_a_database_that_is_not_ready_stops_the_start(settings: Settings) -> None:
    with pytest.raises(SettingsError, match="run `aftercare migrate`"):
        assemble(settings, knowledge=NO_KNOWLEDGE)


def test_the_business_and_its_numbers_are_made_known(settings: Settings, now: datetime) -> None:
    open_database(settings).migrate()
    for _ in range(2):
        assistant = assemble(settings, carrier=MemoryCarrier(), knowledge=NO_KNOWLEDGE, now=now)
        assert businesses.owner_of(assistant.database, "+13055550100") == 1
        assert businesses.owner_of(assistant.database, settings.sender) == 1
        assistant.database.dispose()


def test_a_home_without_its_file_is_named(settings: Settings) -> None:
    settings.business_file.unlink()
    with pytest.raises(KnowledgeError, match=r"business\.toml: the file is missing"):
        assemble(settings, knowledge=NO_KNOWLEDGE)


def test_without_an_account_texts_go_to_the_screen(settings: Settings) -> None:
    assert isinstance(carrier_for(settings), ScreenCarrier)
    real = replace(settings, account_sid="AC" + "0" * 32, auth_token="token", public_url="https://texts.example.com")
    assert isinstance(carrier_for(real), TwilioCarrier)


def test_edited_knowledge_of_the_home_goes_first(settings: Settings) -> None:
    assert knowledge_folder(settings) != settings.home / "knowledge"
    (settings.home / "knowledge").mkdir()
    assert knowledge_folder(settings) == settings.home / "knowledge"
