"""The calendar link: whose visits it shows, and what it shows to nobody."""

from __future__ import annotations

from datetime import timedelta

import pytest

from assistant.domain.visits import Slot
from assistant.storage import clients, visits


@pytest.fixture
def link(database, business, now):
    """The link of a client with one visit."""
    with database.transaction(business.id) as tx:
        ana = clients.add_client(tx, clients.NewClient("Ana", "+13055550111", "en", "America/New_York", "US"), now)
        begins = now.replace(hour=15, minute=0)
        slot = Slot(1, begins, begins + timedelta(hours=2))
        visits.book_visit(tx, ana, slot, "wash", (), business.zone, now, place="Pelican Slough")
        return f"/calendar/{clients.tokens(tx, ana)[1]}.ics"


def test_the_link_gives_the_visits_as_a_calendar(web, link):
    response = web.get(link)
    assert (response.status_code, response.mimetype) == (200, "text/calendar")
    assert b"DTSTART:20270504T150000Z" in response.data
    assert b"Pelican Slough" in response.data


def test_an_unchanged_calendar_is_not_sent_again(web, link):
    tag = web.get(link).headers["ETag"]
    again = web.get(link, headers={"If-None-Match": tag})
    assert (again.status_code, again.data) == (304, b"")


@pytest.mark.parametrize("link", ["/calendar/wrong.ics", "/calendar/.ics", "/calendar/" + "x" * 500 + ".ics"])
def test_a_link_that_is_nobodys_opens_nothing(web, link):
    assert web.get(link).status_code == 404


def test_a_renewed_link_closes_the_old_one(web, link, database, business):
    with database.transaction(business.id) as tx:
        clients.renew_tokens(tx, 1)
    assert web.get(link).status_code == 404
