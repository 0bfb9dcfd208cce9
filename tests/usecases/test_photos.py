"""Pictures that came with texts: drawn anew without their metadata, kept once, out of reach of any path trick."""

from __future__ import annotations

import io
from datetime import timedelta
from decimal import Decimal
from itertools import count

import pytest
from PIL import Image
from sqlalchemy import insert, select

from assistant.carriers import pictures
from assistant.carriers.media import MediaLater, MediaRefused
from assistant.carriers.pictures import NotAPicture, drawn_anew
from assistant.domain.conversation.situation import InboundMessage, Media
from assistant.domain.people import Vessel
from assistant.storage import care, clients, photos, tables
from assistant.storage.clients import NewClient
from assistant.usecases.converse import receive
from assistant.usecases.photos import keep_photos, photo_file
from tests.hand_made import hand_made

ANA = "+13055550111"
GPS = 34853
_ids = count(1)


class Source:
    """Answers in turn; an exception is raised."""

    def __init__(self, *answers):
        self.answers, self.asked = list(answers), []

    def fetch(self, url):
        self.asked.append(url)
        answer = self.answers.pop(0)
        if isinstance(answer, Exception):
            raise answer
        return answer


def picture(kind="JPEG", size=(40, 30), **more):
    out = io.BytesIO()
    Image.new("RGB", size, "teal").save(out, kind, **more)
    return out.getvalue()


@pytest.fixture
def app(database, business, tmp_path):
    return hand_made(database, business, tmp_path)


@pytest.fixture
def ana(app, now):
    with app.database.transaction(1) as tx:
        client = clients.add_client(tx, NewClient("Ana Reyes", ANA, "en", "America/New_York", "US"), now)
        return client, care.add_vessel(tx, Vessel(0, client, "Sea Thistle", length_ft=Decimal(28)), now)


def send(app, now, *urls):
    media = tuple(Media(url, "image/jpeg") for url in urls)
    receive(app, InboundMessage(f"MM{next(_ids):032d}", ANA, "", "look", media), now)


def rows(app):
    with app.database.engine.connect() as connection:
        return connection.execute(select(tables.photos).order_by(tables.photos.c.id)).all()


def test_a_picture_is_kept_with_its_text_its_client_and_the_only_boat(app, ana, now):
    send(app, now, "one")
    assert keep_photos(app, Source(picture()), now) == 1
    (row,) = rows(app)
    assert (row.client_id, row.vessel_id, row.width, row.height, row.taken_at) == (*ana, 40, 30, now)
    path = photo_file(app, row.token)
    assert path.is_relative_to(app.settings.home / "media")
    with Image.open(path) as kept:
        assert kept.size == (40, 30)
    with app.database.reading(1) as tx:
        assert [photo.id for photo in photos.of_messages(tx, row.message_id)[row.message_id]] == [row.id]
        assert [photo.id for photo in photos.of_vessel(tx, ana[1])] == [row.id]


def test_each_picture_is_fetched_once(app, ana, now):
    send(app, now, "one", "two")
    source = Source(picture(), picture("PNG"))
    keep_photos(app, source, now)
    keep_photos(app, source, now)
    assert source.asked == ["one", "two"]
    assert len(rows(app)) == 2


def test_position_camera_and_comments_stay_behind():
    exif = Image.Exif()
    exif[GPS] = {1: "N", 2: (25.0, 46.0, 0.0)}
    exif[271] = "a camera"
    sent = picture(exif=exif, comment=b"a secret")
    assert b"a secret" in sent
    octets, _, _ = drawn_anew(sent)
    drawn = Image.open(io.BytesIO(octets))
    assert (dict(drawn.getexif()), drawn.info.get("comment"), drawn.format) == ({}, None, "JPEG")
    assert b"a camera" not in octets


def test_a_picture_lying_on_its_side_stands_up_and_a_huge_one_shrinks():
    exif = Image.Exif()
    exif[274] = 6
    assert drawn_anew(picture(exif=exif))[1:] == (30, 40)
    assert drawn_anew(picture(size=(4000, 1000)))[1:] == (1600, 400)


@pytest.mark.parametrize(
    "octets",
    [
        b"",
        b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
        b"<html><script>alert(1)</script></html>",
        b"%PDF-1.7",
        picture()[:200],
        picture("BMP"),
        picture("TIFF"),
        b"GIF89a" + b"\xff" * 20,
    ],
)
def test_what_is_no_picture_by_its_content_is_refused(octets):
    with pytest.raises(NotAPicture):
        drawn_anew(octets)


def test_a_picture_with_a_script_behind_it_comes_out_without():
    octets, _, _ = drawn_anew(picture("PNG") + b"<script>alert(1)</script>")
    assert b"script" not in octets


def test_a_picture_that_would_fill_the_memory_is_refused(monkeypatch):
    monkeypatch.setattr(pictures, "MOST_PIXELS", 100)
    with pytest.raises(NotAPicture, match="pixels"):
        drawn_anew(picture())


def test_a_refused_picture_is_noted_and_not_asked_for_again(app, ana, now):
    send(app, now, "one", "two")
    source = Source(MediaRefused("it is too large"), b"no picture")
    keep_photos(app, source, now)
    assert [(row.kind, row.note) for row in rows(app)] == [
        ("refused", "it is too large"), ("refused", "it is not a JPEG, PNG, GIF or WebP picture"),
    ]  # fmt: skip
    assert keep_photos(app, source, now + timedelta(hours=1)) == 0


def test_a_carrier_that_is_away_is_asked_again_later_each_time_and_not_for_ever(app, ana, now):
    send(app, now, "one")
    source = Source(*[MediaLater("away")] * 20)
    asked = 0
    for minute in range(600):
        keep_photos(app, source, now + timedelta(minutes=minute))
        asked = len(source.asked)
    assert asked == 8
    assert [(row.kind, row.note) for row in rows(app)] == [("refused", "the carrier could not be reached")]


def test_a_second_try_that_succeeds_leaves_only_the_picture(app, ana, now):
    send(app, now, "one")
    source = Source(MediaLater("away"), picture())
    keep_photos(app, source, now)
    assert keep_photos(app, source, now) == 0
    assert keep_photos(app, source, now + timedelta(minutes=2)) == 1
    assert [row.kind for row in rows(app)] == ["photo"]


def test_two_workers_keep_a_picture_once(app, ana, now):
    send(app, now, "one")
    with app.database.reading(1) as tx:
        (waiting,) = photos.unfetched(tx, now - timedelta(days=1))
    for _ in range(2):
        with app.database.transaction(1) as tx:
            photos.keep(tx, waiting, [photos.NewPhoto(token="x" * 24, file="1/2027-05/" + "x" * 24 + ".jpg")], now)
    assert len(rows(app)) == 1


@pytest.mark.parametrize(
    "file",
    ["../../business.toml", "1/2027-05/../../../x.jpg", "/etc/passwd", "1/2027-05/" + "a" * 24 + ".jpg\n", "", "1/2027-05/a.svg"],
)
def test_a_path_we_did_not_make_leads_nowhere(app, now, file):
    (app.settings.home / "business.toml").write_text("secret")
    with app.database.transaction(1) as tx:
        tx.execute(insert(tables.photos), {"file": file, "kind": "photo", "token": "t" * 24, "created_at": now})
    assert photo_file(app, "t" * 24) is None


def test_a_withdrawn_picture_is_shown_no_more(app, ana, now):
    send(app, now, "one")
    keep_photos(app, Source(picture()), now)
    (row,) = rows(app)
    with app.database.transaction(1) as tx:
        photos.withdraw(tx, row.id)
    assert photo_file(app, row.token) is None
