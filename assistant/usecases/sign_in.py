"""Signing in to the crew's pages: passwords, tries that fail, sessions, invitations."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache

import phonenumbers
from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from assistant.assembly import Assistant
from assistant.storage import audit, crew
from assistant.storage.database import Transaction

TRIES, TRIES_OF_NUMBER, TRIES_OF_ADDRESS = 5, 30, 25
"""Failed tries in WINDOW: for one number from one address; for one number from anywhere; from one address."""
WINDOW = timedelta(minutes=15)
SHORTEST, LONGEST = 10, 200
"""Characters of a password. Length is what counts (NIST SP 800-63B); argon2 reads the longest in no time."""
SEEN_AGAIN = timedelta(minutes=30)
"""How exactly we know when a session was last used: a page view should not have to write."""

_HASHER = PasswordHasher()


@dataclass(frozen=True, slots=True)
class Entry:
    """What came of signing in: the session's secret name, or why not (`wrong`, `too_often`)."""

    token: str = ""
    refused: str = ""


def sign_in(app: Assistant, written: str, password: str, address: str, now: datetime) -> Entry:
    """Open a session for the person with this number and password."""
    phone = as_number(app, written) or written[:40]
    with app.database.reading(app.business.id) as tx:
        if _too_often(tx, phone, address, now):
            return Entry(refused="too_often")
        account = crew.account_of_phone(tx, phone)
    known = account is not None and account.password_hash is not None and not account.locked
    right = _matches((account.password_hash if account and known else None) or _nobody(), password)
    with app.database.transaction(app.business.id) as tx:
        # Asked again under the writer's lock: tries sent all at once must not slip past the count together.
        if _too_often(tx, phone, address, now):
            return Entry(refused="too_often")
        crew.note_attempt(tx, phone, address, known and right, now)
        if account is None or not known or not right:
            return Entry(refused="wrong")
        if account.password_hash and _HASHER.check_needs_rehash(account.password_hash):
            crew.change_account(tx, account.id, password_hash=_HASHER.hash(password))
        audit.note(tx, now, account.name, "signed in", address=address)
        return Entry(token=crew.begin_session(tx, account.id, now))


def who(app: Assistant, token: str, now: datetime) -> crew.Account | None:
    """The person whose session this is."""
    if not token:
        return None
    with app.database.reading(app.business.id) as tx:
        found = crew.session_owner(tx, token, now)
    if found is None:
        return None
    account, used_at = found
    if now - used_at > SEEN_AGAIN:
        with app.database.transaction(app.business.id) as tx:
            crew.touch_session(tx, token, account.id, now)
    return account


def sign_out(app: Assistant, token: str, now: datetime) -> None:
    """End one session."""
    with app.database.transaction(app.business.id) as tx:
        crew.end_session(tx, token, now)


def invite(app: Assistant, name: str, phone: str, role: str, by: str, now: datetime) -> str:
    """Make an account, or take up the one with that number, and return the link name that sets its password."""
    with app.database.transaction(app.business.id) as tx:
        account_id = crew.add_account(tx, name, phone, role, now)
        if account_id is None:
            account = crew.account_of_phone(tx, phone)
            assert account is not None
            account_id = account.id
            crew.change_account(tx, account_id, name=name, role=role)
        audit.note(tx, now, by, "invited", phone, role=role)
        return crew.invite(tx, account_id, now)


def set_password(app: Assistant, token: str, password: str, now: datetime) -> Entry:
    """Accept an invitation. Refused: `gone` for a link that opens nothing, `short` and `long` for the password."""
    if len(password) < SHORTEST:
        return Entry(refused="short")
    if len(password) > LONGEST:
        return Entry(refused="long")
    hashed = _HASHER.hash(password)
    with app.database.transaction(app.business.id) as tx:
        account = crew.invited(tx, token, now)
        if account is None:
            return Entry(refused="gone")
        crew.accept(tx, account.id, hashed, now)
        audit.note(tx, now, account.name, "set a password")
        return Entry(token=crew.begin_session(tx, account.id, now))


def lock(app: Assistant, account_id: int, locked: bool, by: str, now: datetime) -> None:
    """Shut a person out, or let them in again; whatever they have open ends."""
    with app.database.transaction(app.business.id) as tx:
        account = crew.find_account(tx, account_id)
        if account is not None:
            crew.change_account(tx, account_id, locked=locked)
            crew.end_sessions(tx, account_id, now)
            audit.note(tx, now, by, "shut out" if locked else "let in again", account.name)


def as_number(app: Assistant, written: str) -> str | None:
    """A phone number as people of the business's country write it, in E.164; None for anything else."""
    try:
        number = phonenumbers.parse(written, app.business.country or None)
    except phonenumbers.NumberParseException:
        return None
    if not phonenumbers.is_possible_number(number):
        return None
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)


def _too_often(tx: Transaction, phone: str, address: str, now: datetime) -> bool:
    since = now - WINDOW
    return (
        crew.failures(tx, since, who=phone, address=address) >= TRIES
        or crew.failures(tx, since, who=phone) >= TRIES_OF_NUMBER
        or crew.failures(tx, since, address=address) >= TRIES_OF_ADDRESS
    )


@cache
def _nobody() -> str:
    """A hash to compare with for a number without an account, so that it costs as much time as one with."""
    return _HASHER.hash("nobody has this password")


def _matches(hashed: str, password: str) -> bool:
    try:
        return len(password) <= LONGEST and _HASHER.verify(hashed, password)
    except (VerificationError, InvalidHashError):
        return False
