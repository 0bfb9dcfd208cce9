"""Pictures that came with texts: fetched from the carrier after the text was answered, and kept in the home."""

from __future__ import annotations

import hashlib
import logging
from datetime import datetime, timedelta
from pathlib import Path
from typing import Protocol

from assistant.assembly import Assistant
from assistant.carriers.media import MediaLater, MediaRefused
from assistant.carriers.pictures import NotAPicture, drawn_anew
from assistant.storage import photos
from assistant.storage.photos import NewPhoto, Unfetched

log = logging.getLogger(__name__)

LOOK_BACK = timedelta(days=2)
LAST_TRY = 8
"""With the pause doubling each time, the eighth try comes after some four hours."""
FIRST_PAUSE = timedelta(minutes=1)


class Source(Protocol):
    """Where pictures come from."""

    def fetch(self, url: str) -> bytes:
        """The octets. Raises MediaRefused or MediaLater."""


def keep_photos(app: Assistant, source: Source, now: datetime) -> int:
    """Fetch what came with texts and is not kept yet. Returns how many texts were dealt with."""
    with app.database.reading(app.business.id) as tx:
        waiting = photos.unfetched(tx, now - LOOK_BACK)
    return sum(_keep(app, source, text, now) for text in waiting if _is_time(text, now))


def photo_file(app: Assistant, token: str) -> Path | None:
    """The file of the picture a link names; None when there is none."""
    with app.database.reading(app.business.id) as tx:
        photo = photos.by_token(tx, token)
    path = photos.path_of(app.settings.home, photo.file) if photo else None
    return path if path and path.is_file() else None


def _is_time(text: Unfetched, now: datetime) -> bool:
    return text.tried_at is None or now >= text.tried_at + FIRST_PAUSE * 2 ** (text.tries - 1)


def _keep(app: Assistant, source: Source, text: Unfetched, now: datetime) -> bool:
    """Deal with one text. Nothing is fetched inside a transaction."""
    try:
        pictures = [_fetch(app, source, media.url, now) for media in text.media]
    except MediaLater as trouble:
        log.warning("the pictures of message %s could not be fetched: %s", text.message_id, trouble)
        if text.tries + 1 < LAST_TRY:
            with app.database.transaction(app.business.id) as tx:
                photos.try_again_later(tx, text, now)
            return False
        pictures = [NewPhoto(note="the carrier could not be reached")]
    with app.database.transaction(app.business.id) as tx:
        photos.keep(tx, text, pictures, now)
    return True


def _fetch(app: Assistant, source: Source, url: str, now: datetime) -> NewPhoto:
    """One picture on disk, or why there is none."""
    try:
        octets, width, height = drawn_anew(source.fetch(url))
    except (MediaRefused, NotAPicture) as refusal:
        return NewPhoto(note=str(refusal))
    with app.database.reading(app.business.id) as tx:
        token = tx.new_token()
    file = f"{app.business.id}/{now:%Y-%m}/{token}.jpg"
    path = photos.path_of(app.settings.home, file)
    if path is None:
        raise ValueError(f"{file!r} is no name for a picture")
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(octets)
    return NewPhoto("", token, file, hashlib.sha256(octets).hexdigest(), width, height)
