"""Settings: sensible without a word, and a wrong one is named with its remedy."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.domain.errors import SettingsError
from assistant.settings import Settings

GOOD = {
    "AFTERCARE_HOME": "/srv/aftercare",
    "AFTERCARE_PUBLIC_URL": "https://texts.example.com/",
    "TWILIO_ACCOUNT_SID": "AC" + "0" * 32,
    "TWILIO_AUTH_TOKEN": "secret token",
    "AFTERCARE_SENDER": "+13055550100",
}


def test_everything_is_read() -> None:
    settings = Settings.from_environment(GOOD)
    settings.require_carrier()
    assert settings.home == Path("/srv/aftercare")
    assert settings.business_file == Path("/srv/aftercare/business.toml")
    assert settings.database_url == "sqlite:////srv/aftercare/aftercare.sqlite3"
    assert settings.public_url == "https://texts.example.com"


def test_secrets_are_not_shown() -> None:
    settings = Settings.from_environment(GOOD | {"AFTERCARE_DATABASE_URL": "postgresql://u:hidden@db/aftercare"})
    assert "secret token" not in repr(settings)
    assert "hidden" not in repr(settings)


@pytest.mark.parametrize(
    "name", ["AFTERCARE_PUBLIC_URL", "TWILIO_ACCOUNT_SID", "TWILIO_AUTH_TOKEN", "AFTERCARE_SENDER"]
)
def test_a_missing_carrier_setting_is_asked_for_when_needed(name: str) -> None:
    settings = Settings.from_environment({key: value for key, value in GOOD.items() if key != name})
    with pytest.raises(SettingsError, match=f"^{name} is not set"):
        settings.require_carrier()


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("AFTERCARE_DATABASE_URL", "mysql://host/database"),
        ("AFTERCARE_DATABASE_URL", "aftercare.sqlite3"),
        ("AFTERCARE_PUBLIC_URL", "texts.example.com"),
        ("AFTERCARE_PUBLIC_URL", "https://user:pw@texts.example.com"),
        ("AFTERCARE_PUBLIC_URL", "https://texts.example.com/?a=1"),
        ("AFTERCARE_PUBLIC_URL", "https://texts.example.com:port"),
        ("TWILIO_ACCOUNT_SID", "AC123"),
        ("AFTERCARE_SENDER", "3055550100"),
        ("AFTERCARE_POOL_SIZE", "none"),
        ("AFTERCARE_POOL_SIZE", "0"),
    ],
)
def test_a_wrong_setting_is_named(name: str, value: str) -> None:
    with pytest.raises(SettingsError, match=name):
        Settings.from_environment(GOOD | {name: value})
