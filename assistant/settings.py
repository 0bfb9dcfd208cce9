"""The only module that reads the environment: names, defaults, and what to do when one is missing."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError

from assistant.domain.errors import SettingsError

_ACCOUNT = re.compile(r"AC[0-9a-fA-F]{32}")
_SENDER = re.compile(r"\+[1-9][0-9]{6,14}|MG[0-9a-fA-F]{32}")


@dataclass(frozen=True, slots=True)
class Settings:
    """Where things are and whom we send through. Secrets stay out of the printed form."""

    home: Path
    """Folder with business.toml, the SQLite file, media and edited knowledge."""
    database_url: str = field(repr=False)
    public_url: str = ""
    """Address under which the carrier reaches us, without a slash at its end."""
    account_sid: str = ""
    auth_token: str = field(default="", repr=False)
    sender: str = ""
    """The number we send from (E.164), or a messaging service id (MG...)."""
    pool_size: int = 5
    """Connections kept per process on PostgreSQL."""

    @classmethod
    def from_environment(cls, environ: Mapping[str, str]) -> Settings:
        """Read and check what is set. Carrier settings may be absent here: `require_carrier` asks for them.

        Raises SettingsError naming the variable and the remedy.
        """
        home = Path(environ.get("AFTERCARE_HOME") or Path.home() / "aftercare").expanduser().absolute()
        return cls(
            home=home,
            database_url=_database_url(environ, home),
            public_url=_public_url(environ),
            account_sid=_matching(environ, "TWILIO_ACCOUNT_SID", _ACCOUNT, "AC and 32 hexadecimal digits"),
            auth_token=environ.get("TWILIO_AUTH_TOKEN", "").strip(),
            sender=_matching(environ, "AFTERCARE_SENDER", _SENDER, "a number like +13055550100, or MG and 32 digits"),
            pool_size=_count(environ, "AFTERCARE_POOL_SIZE", 5),
        )

    @property
    def business_file(self) -> Path:
        """Where the business's own data stands."""
        return self.home / "business.toml"

    def require_carrier(self) -> None:
        """Raise SettingsError unless everything needed to receive and send real texts is set."""
        needed = {
            "AFTERCARE_PUBLIC_URL": (self.public_url, "the https address at which the carrier reaches this server"),
            "TWILIO_ACCOUNT_SID": (self.account_sid, "the account id from your carrier's console (AC...)"),
            "TWILIO_AUTH_TOKEN": (self.auth_token, "the token shown beside the account id; it checks every request"),
            "AFTERCARE_SENDER": (self.sender, "the number you text from, like +13055550100"),
        }
        missing = [f"{name} is not set: set it to {remedy}" for name, (value, remedy) in needed.items() if not value]
        if missing:
            raise SettingsError("\n".join(missing))


def _database_url(environ: Mapping[str, str], home: Path) -> str:
    url = environ.get("AFTERCARE_DATABASE_URL", "").strip()
    if not url:
        return f"sqlite:///{home / 'aftercare.sqlite3'}"
    try:
        backend = make_url(url).get_backend_name()
    except (ArgumentError, ValueError):
        backend = ""
    if backend not in ("sqlite", "postgresql"):
        raise SettingsError(
            "AFTERCARE_DATABASE_URL is not usable: write sqlite:////full/path/file.sqlite3 "
            "or postgresql://user@host/database, or leave it out to keep the data in the home folder"
        )
    return url


def _public_url(environ: Mapping[str, str]) -> str:
    url = environ.get("AFTERCARE_PUBLIC_URL", "").strip().rstrip("/")
    if not url:
        return ""
    try:
        parts = urlsplit(url)
        usable = parts.scheme in ("http", "https") and parts.hostname and not parts.username and parts.port != 0
    except ValueError:
        usable = False
    if not usable or parts.query or parts.fragment:
        raise SettingsError(
            f"AFTERCARE_PUBLIC_URL is not an address ({url!r}): write it like https://texts.example.com, "
            "without user name, question mark or #"
        )
    return url


def _matching(environ: Mapping[str, str], name: str, pattern: re.Pattern[str], form: str) -> str:
    value = environ.get(name, "").strip()
    if value and not pattern.fullmatch(value):
        raise SettingsError(f"{name} does not look right ({value!r}): it should be {form}")
    return value


def _count(environ: Mapping[str, str], name: str, default: int) -> int:
    value = environ.get(name, "").strip()
    if not value:
        return default
    if not value.isdigit() or not 1 <= int(value) <= 200:
        raise SettingsError(f"{name} is not usable ({value!r}): write a whole number from 1 to 200")
    return int(value)
