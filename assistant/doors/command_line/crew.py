"""`crew add`, `crew reset`, `crew list`: the way in to the pages for whoever holds this computer."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from assistant.assembly import Assistant, assemble
from assistant.clock import utc_now
from assistant.domain.errors import SettingsError
from assistant.domain.knowledge import Knowledge
from assistant.doors.command_line.opening import migrate, require_home
from assistant.settings import Settings
from assistant.storage import crew
from assistant.usecases import sign_in

ROLES = ("owner", "office", "crew")
BY = "command line"
NOTHING = Knowledge("", {}, {}, {}, (), {}, {}, {}, {}, {})
"""Letting people in needs no knowledge: it works while knowledge/ is broken, and without waiting for it to be read."""


def add_commands(commands: Any) -> None:
    """Add this group's commands."""
    group = commands.add_parser("crew", help="let people of the business into the pages, or back in")
    actions = group.add_subparsers(title="actions", metavar="ACTION", required=True)
    add = actions.add_parser("add", help="print a link with which a person sets a password, once")
    add.add_argument("phone", metavar="NUMBER", help="their own mobile number")
    add.add_argument("--name", help="what to call them (default: the name in business.toml)")
    add.add_argument("--role", choices=ROLES, help="what they may do (default: the role in business.toml)")
    add.set_defaults(run=add_person)
    reset = actions.add_parser("reset", help="print a new link for somebody who cannot get in any more")
    reset.add_argument("phone", metavar="NUMBER")
    reset.set_defaults(run=reset_person)
    shown = actions.add_parser("list", help="show who has an account")
    shown.set_defaults(run=list_people)


def add_person(given: argparse.Namespace, settings: Settings) -> int:
    """Invite; an account that is there already keeps its password until the link is used."""
    with _opened(settings) as app:
        phone = _number(app, given.phone)
        member = next((one for one in app.business.crew if one.phone == phone), None)
        name = given.name or (member.name if member else "")
        if not name:
            raise SettingsError(f"{phone} is not in business.toml: add --name")
        role = given.role or (member.role if member else "crew")
        token = sign_in.invite(app, name, phone, role, BY, utc_now())
        _print_link(app, name, token)
    return 0


def reset_person(given: argparse.Namespace, settings: Settings) -> int:
    """A new link; whoever is shut out comes in again with it."""
    with _opened(settings) as app:
        phone = _number(app, given.phone)
        with app.database.reading(app.business.id) as tx:
            account = crew.account_of_phone(tx, phone)
        if account is None:
            raise SettingsError(f"nobody has an account with {phone}: use `aftercare crew add`")
        _print_link(app, account.name, sign_in.invite(app, account.name, phone, account.role, BY, utc_now()))
    return 0


def list_people(given: argparse.Namespace, settings: Settings) -> int:
    """One line a person."""
    with _opened(settings) as app, app.database.reading(app.business.id) as tx:
        for one in crew.accounts(tx):
            state = "shut out" if one.locked else "" if one.password_hash else "invited"
            print(f"{one.phone}  {one.role:6}  {one.name}  {state}".rstrip())
    return 0


@contextmanager
def _opened(settings: Settings) -> Iterator[Assistant]:
    require_home(settings)
    migrate(settings)
    app = assemble(settings, knowledge=NOTHING)
    try:
        yield app
    finally:
        app.database.dispose()


def _print_link(app: Assistant, name: str, token: str) -> None:
    base = app.settings.public_url or "http://127.0.0.1:8000"
    print(f"For {name}, once, within three days: {base}/crew/invitation/{token}")


def _number(app: Assistant, written: str) -> str:
    phone = sign_in.as_number(app, written)
    if phone is None:
        raise SettingsError(f"{written} is no phone number: write it like +13055550101")
    return phone
