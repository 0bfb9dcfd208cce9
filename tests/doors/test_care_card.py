"""The owner's card: whole without a script, small, for its owner only, and one tap counts once a day."""

from __future__ import annotations

import re
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from html.parser import HTMLParser
from urllib.parse import urljoin

import pytest
from sqlalchemy import select

from assistant.domain.people import Application, Vessel
from assistant.domain.visits import Slot
from assistant.doors.web import create_app
from assistant.packaged import packaged
from assistant.storage import care, clients, visits
from assistant.storage.clients import NewClient
from assistant.storage.knowledge_files.reader import read_without_model
from assistant.storage.tables import care_events
from tests.hand_made import PUBLIC, hand_made

FIRST_LOAD = 50_000
"""Octets of the page with everything it asks for."""


@pytest.fixture(scope="module")
def knowledge():
    return read_without_model(packaged("knowledge"))[0]


@pytest.fixture
def app(database, business, knowledge, tmp_path):
    return replace(hand_made(database, business, tmp_path), knowledge=knowledge)


@pytest.fixture
def web(app, now):
    return create_app(app, now=lambda: now).test_client()


@pytest.fixture
def owner(app, now):
    return owner_of(app, now, "Ana Reyes", "+13055550111", "Sea Thistle")


def owner_of(app, now, name, phone, boat, language="en", applied=date(2027, 1, 12), coating="sealant"):
    """(card link, calendar link, client, vessel)."""
    with app.database.transaction(1) as tx:
        client = clients.add_client(tx, NewClient(name, phone, language, "America/New_York", "US"), now)
        vessel = care.add_vessel(tx, Vessel(0, client, boat, length_ft=Decimal(28)), now)
        for surface in ("hull", "topsides"):
            care.add_application(tx, Application(0, vessel, surface, coating, applied), now)
        return *clients.tokens(tx, client), client, vessel


def toppers(app):
    with app.database.engine.connect() as connection:
        return connection.execute(select(care_events)).all()


class Page(HTMLParser):
    """What a page asks for and runs."""

    def __init__(self, text):
        super().__init__()
        self.asks_for, self.inline, self.posts = [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        at = dict(attrs)
        if tag in ("script", "img", "iframe") or (tag == "link" and at.get("rel") != "canonical"):
            self.asks_for.append(at.get("src") or at.get("href"))
        if (tag == "script" and "src" not in at) or tag == "style" or any(n == "style" or n.startswith("on") for n in at):
            self.inline.append((tag, attrs))
        if tag == "form":
            self.posts.append(at)


def test_the_card_shows_the_state_at_a_glance(app, web, owner, now):
    token, calendar, client, vessel = owner
    with app.database.transaction(1) as tx:
        slot = Slot(1, now + timedelta(days=9), now + timedelta(days=9, hours=2))
        visits.book_visit(tx, client, slot, "wash", [vessel], "America/New_York", now, place="Pelican Slough")
    text = web.get(f"/card/{token}").text
    assert "Next reseal about Jul 11" in text
    assert "between" in text
    assert "polymer sealant on the hull and topsides, Jan 12" in text
    assert re.search(r"<b>Vinegar</b>: ", text)
    assert "Thu May 13, 10:30 am" in text
    assert f"../calendar/{calendar}.ics" in text
    assert f"../chat/{token}" in text


def test_the_first_load_is_small_and_asks_nobody_else(web, owner):
    response = web.get(f"/card/{owner[0]}")
    page, size = Page(response.text), len(response.data)
    assert page.inline == []
    for address in page.asks_for:
        found = web.get(urljoin(f"/card/{owner[0]}", address), buffered=True)
        assert found.status_code == 200
        size += len(found.data)
    assert size < FIRST_LOAD
    assert "http" not in re.sub(r'xmlns="http[^"]*"', "", response.text)


@pytest.mark.parametrize("path", ["/card/{}", "/card/{}/print", "/chat/{}", "/card/none", "/chat/none"])
def test_every_page_forbids_what_is_not_ours(web, owner, path):
    headers = web.get(path.format(owner[0])).headers
    policy = headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert headers["Referrer-Policy"] == "no-referrer"
    assert "noindex" in headers["X-Robots-Tag"]
    assert "private" in headers["Cache-Control"]
    assert "Set-Cookie" not in headers


@pytest.mark.parametrize("token", ["none", "a" * 24, "a" * 3000, "%00", "..%2f..%2fbusiness.toml", "' OR 1=1 --", "*"])
@pytest.mark.parametrize("path", ["/card/{}", "/card/{}/print", "/card/{}/home.webmanifest", "/chat/{}", "/chat/{}/new"])
def test_a_link_that_is_nobodys_opens_nothing(web, owner, path, token):
    assert web.get(path.format(token)).status_code == 404


def test_a_renewed_link_closes_the_old_one(app, web, owner):
    token, _, client, _ = owner
    with app.database.transaction(1) as tx:
        clients.renew_tokens(tx, client)
        fresh, _ = clients.tokens(tx, client)
    assert web.get(f"/card/{token}").status_code == 404
    assert web.post(f"/card/{token}/topper", data={"boat": owner[3]}).status_code == 404
    assert web.get(f"/card/{fresh}").status_code == 200


def test_one_tap_notes_the_topper_and_a_second_one_adds_nothing(app, web, owner):
    token, vessel = owner[0], owner[3]
    response = web.post(f"/card/{token}/topper", data={"boat": vessel})
    assert (response.status_code, response.headers["Location"]) == (303, f"../{token}?done=topper#boat-{vessel}")
    web.post(f"/card/{token}/topper", data={"boat": vessel})
    (event,) = toppers(app)
    assert (event.vessel_id, event.kind, event.on) == (vessel, "topper", date(2027, 5, 4))
    page = web.get(f"/card/{token}").text
    assert "Noted for today" in page
    assert Page(page).posts == []


def test_taps_at_the_same_moment_count_once(app, web, owner, now):
    flask = create_app(app, now=lambda: now)
    with ThreadPoolExecutor(4) as pool:
        tap = lambda _: flask.test_client().post(f"/card/{owner[0]}/topper", data={"boat": owner[3]}).status_code  # noqa: E731
        assert set(pool.map(tap, range(8))) == {303}
    assert len(toppers(app)) == 1


def test_the_day_of_a_topper_is_the_owners(app, owner, now):
    late = now.replace(hour=2) + timedelta(days=1)
    create_app(app, now=lambda: late).test_client().post(f"/card/{owner[0]}/topper", data={"boat": owner[3]})
    (event,) = toppers(app)
    assert event.on == date(2027, 5, 4)


@pytest.mark.parametrize("boat", ["", "0", "-1", "1e3", "٣", "9" * 40, "<script>", None])
def test_a_boat_that_is_none_of_the_owners_is_not_topped(app, web, owner, boat):
    assert web.post(f"/card/{owner[0]}/topper", data={"boat": boat} if boat is not None else {}).status_code == 404
    assert toppers(app) == []


def test_another_owners_boat_is_not_topped(app, web, owner, now):
    other = owner_of(app, now, "Bert Olsen", "+12165550122", "Paper Moon")
    assert web.post(f"/card/{owner[0]}/topper", data={"boat": other[3]}).status_code == 404
    assert toppers(app) == []
    assert "Paper Moon" not in web.get(f"/card/{owner[0]}").text


def test_a_link_read_by_a_preview_changes_nothing(app, web, owner):
    assert web.get(f"/card/{owner[0]}/topper").status_code == 405
    assert web.head(f"/card/{owner[0]}").status_code == 200
    assert toppers(app) == []


def test_script_in_names_is_shown_and_not_run(app, web, now):
    name = "<script>alert(1)</script>"
    token, *_ = owner_of(app, now, name, "+13055550133", '"><img src=x onerror=alert(1)>')
    for path in (f"/card/{token}", f"/card/{token}/print", f"/chat/{token}"):
        text = web.get(path).text
        assert "<script>alert" not in text
        assert "<img" not in text
        assert Page(text).inline == []
    assert web.get(f"/card/{token}/home.webmanifest").is_json


def test_the_card_speaks_the_owners_language_and_the_other_on_request(app, web, now):
    token, *_ = owner_of(app, now, "Elena Prats", "+13055550155", "Golondrina", "es", coating="wax")
    own, other = web.get(f"/card/{token}").text, web.get(f"/card/{token}?lang=en").text
    assert '<html lang="es">' in own
    assert "Lejos de este barco" in own
    assert "Keep off this boat" in other
    assert f"../chat/{token}?lang=en" in other
    assert '<html lang="es">' in web.get(f"/card/{token}?lang=../../x").text


def test_right_after_the_job_the_card_says_what_must_wait(app, web, now):
    token, *_ = owner_of(app, now, "Dana Whit", "+13055550144", "Saltbox", applied=date(2027, 5, 3))
    page = web.get(f"/card/{token}").text
    assert "Just done: keep it dry until" in page
    assert "plain fresh water only until about May 10" in page
    assert Page(page).posts == []


def test_a_card_without_boats_or_jobs_still_opens(app, web, now):
    with app.database.transaction(1) as tx:
        client = clients.add_client(tx, NewClient("", "+13055550166", "fr", "", ""), now)
        token, _ = clients.tokens(tx, client)
    assert "no boat on your record" in web.get(f"/card/{token}").text
    with app.database.transaction(1) as tx:
        care.add_vessel(tx, Vessel(0, client, ""), now)
    assert "No job is on record yet" in web.get(f"/card/{token}").text
    assert web.get(f"/card/{token}/print").status_code == 200


def test_the_sheet_carries_the_whole_link_as_a_qr_code(web, owner):
    import segno

    page = web.get(f"/card/{owner[0]}/print").text
    drawn = re.search(r'<svg[^>]*class="qr"[^>]*>.*?<path[^>]* d="([^"]+)"', page, re.DOTALL)[1]
    expected = segno.make(f"{PUBLIC}/card/{owner[0]}", error="m").svg_inline(border=2, scale=1, omitsize=True)
    assert drawn in expected


def test_the_card_can_be_put_on_the_home_screen(web, owner):
    response = web.get(f"/card/{owner[0]}/home.webmanifest")
    assert response.mimetype == "application/manifest+json"
    assert response.json["start_url"] == f"../{owner[0]}"
    for icon in response.json["icons"]:
        address = urljoin(f"/card/{owner[0]}/home.webmanifest", icon["src"])
        assert web.get(address, buffered=True).mimetype == "image/png"
