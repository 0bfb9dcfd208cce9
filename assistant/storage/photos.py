"""Pictures that came with texts: which ones are still to be fetched, and where the fetched ones are.

A message's pictures are kept together: either all of them are fetched (or refused for good), or one row of kind
`waiting` says how often and when it was tried.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy import delete, insert, select, update

from assistant.domain.conversation.situation import Media
from assistant.storage.database import AnyRow, Transaction, ours
from assistant.storage.tables import messages, photos, threads, vessels

PHOTO, REFUSED, WAITING = "photo", "refused", "waiting"
_FILE = re.compile(r"\d+/\d{4}-\d{2}/[A-Za-z0-9_-]{16,80}\.jpg")


@dataclass(frozen=True, slots=True)
class Photo:
    """One picture. `token` names it in a link; `file` is a path below the media folder of the home."""

    id: int
    token: str
    file: str
    width: int
    height: int
    message_id: int | None
    client_id: int | None
    vessel_id: int | None
    taken_at: datetime
    note: str


@dataclass(frozen=True, slots=True)
class NewPhoto:
    """A picture that was fetched and re-encoded, or (without a file) was refused: `note` says why."""

    note: str = ""
    token: str = ""
    file: str = ""
    sha256: str = ""
    width: int = 0
    height: int = 0


@dataclass(frozen=True, slots=True)
class Unfetched:
    """A text whose pictures are still to be fetched. `tries` counts those that failed."""

    message_id: int
    at: datetime
    media: tuple[Media, ...]
    client_id: int | None
    vessel_id: int | None
    tries: int
    tried_at: datetime | None


_PHOTOS = select(photos).where(ours(photos), photos.c.kind == PHOTO, photos.c.withdrawn.is_(False))


def unfetched(tx: Transaction, since: datetime, limit: int = 10) -> tuple[Unfetched, ...]:
    """Texts since then whose pictures are not dealt with, oldest first."""
    dealt = (
        select(photos.c.id)
        .where(ours(photos), photos.c.message_id == messages.c.id, photos.c.kind != WAITING)
        .correlate(messages)
    )
    query = (
        select(
            messages.c.id, messages.c.at, messages.c.media, messages.c.remember, threads.c.client_id,
            photos.c.note.label("tries"), photos.c.created_at.label("tried_at"),
        )
        .join(threads, (threads.c.id == messages.c.thread_id) & ours(threads))
        .outerjoin(photos, (photos.c.message_id == messages.c.id) & ours(photos) & (photos.c.kind == WAITING))
        .where(ours(messages), messages.c.at > since, messages.c.media.is_not(None), ~dealt.exists())
        .order_by(messages.c.id)
        .limit(limit)
    )  # fmt: skip
    return tuple(_unfetched(tx, row) for row in tx.execute(query).all())


def keep(tx: Transaction, text: Unfetched, pictures: Sequence[NewPhoto], now: datetime) -> None:
    """The pictures of a text, all at once. A second worker that fetched them, too, keeps nothing."""
    locked = select(messages.c.id).where(ours(messages), messages.c.id == text.message_id).with_for_update()
    if tx.execute(locked).first() is None or _dealt_with(tx, text.message_id):
        return
    _forget_tries(tx, text.message_id)
    for picture in pictures:
        tx.execute(
            insert(photos),
            {
                "message_id": text.message_id,
                "client_id": text.client_id,
                "vessel_id": text.vessel_id,
                "kind": PHOTO if picture.file else REFUSED,
                "file": picture.file,
                "content_type": "image/jpeg" if picture.file else "",
                "sha256": picture.sha256,
                "width": picture.width,
                "height": picture.height,
                "token": picture.token or None,
                "note": picture.note,
                "taken_at": text.at,
                "created_at": now,
            },
        )


def try_again_later(tx: Transaction, text: Unfetched, now: datetime) -> None:
    """Note one more try that failed."""
    _forget_tries(tx, text.message_id)
    row = {"message_id": text.message_id, "client_id": text.client_id, "kind": WAITING, "note": str(text.tries + 1)}
    tx.execute(insert(photos), {**row, "created_at": now})


def of_messages(tx: Transaction, *message_ids: int) -> dict[int, tuple[Photo, ...]]:
    """The pictures of these texts, by text."""
    found: dict[int, tuple[Photo, ...]] = {}
    query = _PHOTOS.where(photos.c.message_id.in_(message_ids)).order_by(photos.c.id)
    for row in tx.execute(query):
        found[row.message_id] = (*found.get(row.message_id, ()), _photo(row))
    return found


def of_vessel(tx: Transaction, vessel_id: int, limit: int = 60) -> tuple[Photo, ...]:
    """The pictures of a boat, the newest first."""
    query = _PHOTOS.where(photos.c.vessel_id == vessel_id).order_by(photos.c.id.desc()).limit(limit)
    return tuple(map(_photo, tx.execute(query)))


def by_token(tx: Transaction, token: str) -> Photo | None:
    """The picture a link names."""
    row = tx.execute(_PHOTOS.where(photos.c.token == token)).first()
    return _photo(row) if row else None


def show_vessel(tx: Transaction, message_id: int, vessel_id: int) -> None:
    """The pictures of a text show this boat."""
    owner = select(vessels.c.client_id).where(ours(vessels), vessels.c.id == vessel_id).scalar_subquery()
    mine = (ours(photos), photos.c.message_id == message_id)
    tx.execute(update(photos).where(*mine).values(vessel_id=vessel_id, client_id=owner))


def withdraw(tx: Transaction, photo_id: int) -> None:
    """Show it no more."""
    tx.execute(update(photos).where(ours(photos), photos.c.id == photo_id).values(withdrawn=True))


def path_of(home: Path, file: str) -> Path | None:
    """Where a picture is on disk; None for a name that this program did not make."""
    return home / "media" / file if _FILE.fullmatch(file) else None


def _dealt_with(tx: Transaction, message_id: int) -> bool:
    query = select(photos.c.id).where(ours(photos), photos.c.message_id == message_id, photos.c.kind != WAITING)
    return tx.execute(query.limit(1)).first() is not None


def _forget_tries(tx: Transaction, message_id: int) -> None:
    tx.execute(delete(photos).where(ours(photos), photos.c.message_id == message_id, photos.c.kind == WAITING))


def _unfetched(tx: Transaction, row: AnyRow) -> Unfetched:
    """With the boat: the one named in the text, else the only one its sender has."""
    vessel_id = (row.remember or {}).get("vessel_id")
    client_id = row.client_id
    if vessel_id is not None:
        owner = select(vessels.c.client_id).where(ours(vessels), vessels.c.id == vessel_id)
        client_id = tx.execute(owner).scalar()
    elif client_id is not None:
        boats = select(vessels.c.id).where(ours(vessels), vessels.c.client_id == client_id, vessels.c.gone.is_(None))
        mine = tx.execute(boats.limit(2)).scalars().all()
        vessel_id = mine[0] if len(mine) == 1 else None
    media = tuple(Media(**entry) for entry in row.media)
    return Unfetched(row.id, row.at, media, client_id, vessel_id, int(row.tries or 0), row.tried_at)


def _photo(row: AnyRow) -> Photo:
    return Photo(
        id=row.id,
        token=row.token,
        file=row.file,
        width=row.width or 0,
        height=row.height or 0,
        message_id=row.message_id,
        client_id=row.client_id,
        vessel_id=row.vessel_id,
        taken_at=row.taken_at or row.created_at,
        note=row.note,
    )
