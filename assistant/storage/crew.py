"""Accounts of the business's people: who may open the pages, invitations, sign-ins that failed, open sessions.

Secrets are never kept: a password as its argon2 hash, a link or a session as the SHA-256 of its name.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import ColumnElement, func, insert, select, update

from assistant.storage.database import AnyRow, Transaction, ours
from assistant.storage.tables import crew_accounts, invitations, sessions, sign_in_attempts

INVITATION_LASTS = timedelta(days=3)
SESSION_LASTS = timedelta(days=60)
SESSION_RESTS = timedelta(days=14)
"""A session that nobody used for so long has ended."""


@dataclass(frozen=True, slots=True)
class Account:
    """One person of the business. `role`: owner, office or crew. Without a password nobody can sign in."""

    id: int
    name: str
    phone: str
    role: str
    password_hash: str | None
    locked: bool
    last_seen_at: datetime | None


def add_account(tx: Transaction, name: str, phone: str, role: str, now: datetime) -> int | None:
    """Begin an account; None when the number has one."""
    row = {"name": name, "phone": phone, "role": role, "created_at": now}
    return tx.insert_if_new(crew_accounts, row, "business_id", "phone")


def accounts(tx: Transaction) -> tuple[Account, ...]:
    """Every account, by name."""
    query = select(crew_accounts).where(ours(crew_accounts)).order_by(crew_accounts.c.name, crew_accounts.c.id)
    return tuple(map(_account, tx.execute(query)))


def find_account(tx: Transaction, account_id: int) -> Account | None:
    """One account by its number."""
    return _one(tx, crew_accounts.c.id == account_id)


def account_of_phone(tx: Transaction, phone: str) -> Account | None:
    """The account with this E.164 number."""
    return _one(tx, crew_accounts.c.phone == phone)


def change_account(tx: Transaction, account_id: int, **values: Any) -> None:
    """Write columns of an account anew: name, role, password_hash, locked."""
    mine = (ours(crew_accounts), crew_accounts.c.id == account_id)
    tx.execute(update(crew_accounts).where(*mine).values(**values))


def invite(tx: Transaction, account_id: int, now: datetime) -> str:
    """A link name with which the person sets a password, once; earlier ones of theirs open nothing any more."""
    _use_up(tx, account_id, now)
    token = tx.new_token()
    row = {"account_id": account_id, "token_hash": digest(token), "made_at": now, "expires_at": now + INVITATION_LASTS}
    tx.insert(insert(invitations), row)
    return token


def invited(tx: Transaction, token: str, now: datetime) -> Account | None:
    """Whom the link invites; None when it was used, is too old or was never made."""
    query = select(invitations.c.account_id).where(
        ours(invitations),
        invitations.c.token_hash == digest(token),
        invitations.c.used_at.is_(None),
        invitations.c.expires_at > now,
    )
    account_id = tx.execute(query).scalar()
    return find_account(tx, account_id) if account_id is not None else None


def accept(tx: Transaction, account_id: int, password_hash: str, now: datetime) -> None:
    """Set the password: the invitation is used up and everything open on other devices ends."""
    _use_up(tx, account_id, now)
    end_sessions(tx, account_id, now)
    change_account(tx, account_id, password_hash=password_hash, locked=False)


def note_attempt(tx: Transaction, who: str, address: str, succeeded: bool, now: datetime) -> None:
    """Keep one try to sign in."""
    row = {"who": who, "address": address, "succeeded": succeeded, "at": now}
    tx.execute(insert(sign_in_attempts), row)


def failures(tx: Transaction, since: datetime, *, who: str | None = None, address: str | None = None) -> int:
    """How often signing in failed since then, for a number, from an address, or for both together."""
    conditions = [ours(sign_in_attempts), sign_in_attempts.c.at > since, sign_in_attempts.c.succeeded.is_(False)]
    conditions += [sign_in_attempts.c.who == who] if who is not None else []
    conditions += [sign_in_attempts.c.address == address] if address is not None else []
    return int(tx.execute(select(func.count()).select_from(sign_in_attempts).where(*conditions)).scalar_one())


def begin_session(tx: Transaction, account_id: int, now: datetime) -> str:
    """Open a session and return its secret name."""
    token = tx.new_token()
    row = {"account_id": account_id, "token_hash": digest(token), "made_at": now, "last_seen_at": now}
    tx.insert(insert(sessions), row)
    change_account(tx, account_id, last_seen_at=now)
    return token


def session_owner(tx: Transaction, token: str, now: datetime) -> tuple[Account, datetime] | None:
    """Whose open session this is and when it was last used; None for any other name."""
    query = (
        select(crew_accounts, sessions.c.last_seen_at.label("used_at"))
        .join(sessions, sessions.c.account_id == crew_accounts.c.id)
        .where(
            ours(crew_accounts),
            ours(sessions),
            sessions.c.token_hash == digest(token),
            sessions.c.ended_at.is_(None),
            sessions.c.made_at > now - SESSION_LASTS,
            sessions.c.last_seen_at > now - SESSION_RESTS,
            crew_accounts.c.locked.is_(False),
        )
    )
    row = tx.execute(query).first()
    return (_account(row), row.used_at) if row else None


def touch_session(tx: Transaction, token: str, account_id: int, now: datetime) -> None:
    """The session was used."""
    mine = (ours(sessions), sessions.c.token_hash == digest(token))
    tx.execute(update(sessions).where(*mine).values(last_seen_at=now))
    change_account(tx, account_id, last_seen_at=now)


def end_session(tx: Transaction, token: str, now: datetime) -> None:
    """Sign out of one device."""
    _end(tx, sessions.c.token_hash == digest(token), now)


def end_sessions(tx: Transaction, account_id: int, now: datetime) -> None:
    """Sign out everywhere."""
    _end(tx, sessions.c.account_id == account_id, now)


def digest(token: str) -> str:
    """What is kept of a secret name: enough to know it again, useless to whoever reads the database."""
    return hashlib.sha256(token.encode()).hexdigest()


def _end(tx: Transaction, which: ColumnElement[bool], now: datetime) -> None:
    tx.execute(update(sessions).where(ours(sessions), which, sessions.c.ended_at.is_(None)).values(ended_at=now))


def _use_up(tx: Transaction, account_id: int, now: datetime) -> None:
    unused = (invitations.c.account_id == account_id, invitations.c.used_at.is_(None))
    tx.execute(update(invitations).where(ours(invitations), *unused).values(used_at=now))


def _one(tx: Transaction, condition: ColumnElement[bool]) -> Account | None:
    row = tx.execute(select(crew_accounts).where(ours(crew_accounts), condition)).first()
    return _account(row) if row else None


def _account(row: AnyRow) -> Account:
    return Account(row.id, row.name, row.phone or "", row.role, row.password_hash, row.locked, row.last_seen_at)
