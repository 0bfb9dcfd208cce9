"""`init`, `check`, `migrate`: from an empty folder to a home that can serve."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from zoneinfo import available_timezones

import phonenumbers

from assistant.assembly import knowledge_folder
from assistant.clock import utc_now
from assistant.domain.errors import KnowledgeError, Problem, SettingsError
from assistant.doors.command_line.opening import database_of, require_home
from assistant.settings import Settings
from assistant.storage import businesses
from assistant.storage.business_file import read_business, template_text
from assistant.storage.knowledge_files.reader import read_without_model


@dataclass(frozen=True, slots=True)
class Asked:
    """One thing `init` wants to know: its flag, its question, what is taken without an answer, where it goes."""

    name: str
    question: str
    default: str
    places: tuple[str, ...]
    """How it stands in the template, with {} for the value."""


QUESTIONS = (
    Asked("business", "Name of the business", "My Boat Care", ("[business]\nname = {}",)),
    Asked("detailer", "First name of the person clients know", "Sam", ("detailer = {}", "[[crew]]\nname = {}")),
    Asked("number", "Number that clients text", "+13055550100", ("number = {}",)),
    Asked("owner_phone", "That person's own mobile number", "+13055550101", ("phone = {}",)),
    Asked("country", "Country, two letters", "US", ("country = {}",)),
    Asked("zone", "Time zone", "America/New_York", ("zone = {}",)),
    Asked("language", "Language, en or es", "en", ("language = {}",)),
)


def add_commands(commands: Any) -> None:
    """Add this group's commands."""
    init = commands.add_parser("init", help="make the home folder with business.toml and the database")
    for asked in QUESTIONS:
        init.add_argument("--" + asked.name.replace("_", "-"), help=f"{asked.question} (default: {asked.default})")
    init.set_defaults(run=init_home)
    check = commands.add_parser("check", help="look for mistakes in business.toml and knowledge/")
    check.add_argument("--knowledge", type=Path, help="check this knowledge folder instead of the one in use")
    check.set_defaults(run=check_files)
    migrate = commands.add_parser("migrate", help="bring the database to the form this version needs")
    migrate.set_defaults(run=migrate_database)


def init_home(given: argparse.Namespace, settings: Settings) -> int:
    """Make what is missing of the home, and leave alone what is there."""
    settings.home.mkdir(parents=True, exist_ok=True)
    if settings.business_file.exists():
        print(f"{settings.business_file} is there already and stays as it is.")
    else:
        answers = _checked({asked.name: _answer(asked, getattr(given, asked.name)) for asked in QUESTIONS})
        settings.business_file.write_text(_business_text(answers), encoding="utf-8")
        print(f"Wrote {settings.business_file}: look through it, it is meant to be edited.")
    with database_of(settings) as database:
        database.migrate()
        businesses.register(database, read_business(settings.business_file), utc_now())
        print(f"The database is ready ({database.engine.url.render_as_string(hide_password=True)}).")
    print(_next_steps(settings))
    return 0


def check_files(given: argparse.Namespace, settings: Settings) -> int:
    """Name every problem with its place and remedy; 1 when there is one."""
    if given.knowledge is None:
        require_home(settings)
    folder = given.knowledge or knowledge_folder(settings)
    if not folder.is_dir():
        raise SettingsError(f"{folder} is not a folder: give the folder that holds substances.csv")
    checked = [*([settings.business_file] if settings.business_file.exists() else []), folder]
    problems = [*_problems_of_business(settings), *read_without_model(folder)[1]]
    for problem in problems:
        print(problem)
    if not problems:
        print(f"No problems in {' and '.join(map(str, checked))}.")
    return 1 if problems else 0


def _problems_of_business(settings: Settings) -> tuple[Problem, ...]:
    """What is wrong with business.toml, if there is one."""
    try:
        if settings.business_file.exists():
            read_business(settings.business_file)
    except KnowledgeError as error:
        return error.problems
    return ()


def migrate_database(given: argparse.Namespace, settings: Settings) -> int:
    """Take the pending steps, naming them."""
    with database_of(settings) as database:
        pending = database.pending_migrations()
        database.migrate()
    print("\n".join(f"done: {step}" for step in pending) if pending else "The database is up to date.")
    return 0


def _answer(asked: Asked, flag: str | None) -> str:
    """The flag, or the answer given at a terminal, or the default."""
    if flag is not None or not sys.stdin.isatty():
        return flag if flag is not None else asked.default
    try:
        return input(f"{asked.question} [{asked.default}]: ").strip() or asked.default
    except EOFError:
        return asked.default


def _checked(answers: dict[str, str]) -> dict[str, str]:
    """The answers in the form business.toml keeps them. Raises SettingsError naming the flag."""
    country = answers["country"].upper()
    if country not in phonenumbers.SUPPORTED_REGIONS:
        raise SettingsError(f"--country {country} is no country: give two letters, like US")
    if answers["zone"] not in available_timezones():
        raise SettingsError(f"--zone {answers['zone']} is no time zone: give one like America/New_York")
    if answers["language"] not in ("en", "es"):
        raise SettingsError(f"--language {answers['language']} is not known: give en or es")
    numbers = {name: _phone(name, answers[name], country) for name in ("number", "owner_phone")}
    return {**answers, **numbers, "country": country}


def _phone(name: str, written: str, country: str) -> str:
    flag = "--" + name.replace("_", "-")
    try:
        number = phonenumbers.parse(written, country)
    except phonenumbers.NumberParseException:
        number = None
    if number is None or not phonenumbers.is_possible_number(number):
        raise SettingsError(f"{flag} {written} is no phone number: write it like +13055550100")
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)


def _business_text(answers: dict[str, str]) -> str:
    """The template with the answers in the place of its examples; a JSON string is a TOML string, too."""
    text = template_text()
    for asked in QUESTIONS:
        for place in asked.places:
            example, mine = (place.format(json.dumps(value, ensure_ascii=False))
                             for value in (asked.default, answers[asked.name]))  # fmt: skip
            text = text.replace(example, mine, 1)
    return text


def _next_steps(settings: Settings) -> str:
    public = settings.public_url or "https://YOUR-ADDRESS"
    return f"""
Next:
  1. Edit {settings.business_file}: hours, harbors, services and prices. `aftercare check` finds slips.
  2. Bring your clients: aftercare import clients.csv   (see the README for the columns)
  3. Try it without sending anything: aftercare chat
  4. To go live, set AFTERCARE_PUBLIC_URL, TWILIO_ACCOUNT_SID, TWILIO_AUTH_TOKEN and AFTERCARE_SENDER, and let the
     number's incoming messages go by POST to {public}/sms/inbound#rc=3&rp=all
  5. aftercare serve"""
