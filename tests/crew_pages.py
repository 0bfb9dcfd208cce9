"""A business with clients, visits and open questions for tests of the crew's pages, and a browser that is signed in."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal

from PIL import Image
from sqlalchemy import insert

from assistant.domain.business import Place, Service
from assistant.domain.people import Application, CareEvent, CareKind, Kept, Season, Vessel
from assistant.domain.visits import Slot
from assistant.storage import care, handovers, outbox, tables, threads, visits
from assistant.storage.clients import NewClient, add_client
from assistant.usecases import sign_in

PASSWORD = "tide and teak oil"
OWNER = "+13055550101"
NASTY = '<script>document.title="taken"</script><img src=x onerror=alert(1)>'
CLIENTS = (
    ("Ana Reyes", "+13055550111", "en", "Sea Thistle", "center console", 28, "Pelican Slough", "sealant", 200),
    ("Bert Olsen", "+12165550122", "en", "Paper Moon", "cruiser", 34, "Juniper Point", "sealant", 40),
    ("Chidi Obi", "+13055550133", "en", "Blue Ledger", "bay boat", 24, "Cutter's Bight", "sealant", 150),
    ("Dana Whit", "+13055550144", "en", "Saltbox", "trawler", 41, "Cutter's Bight", "ceramic", 300),
    ("Elena Prats", "+13055550155", "es", "Golondrina", "runabout", 26, "Pelican Slough", "wax", 60),
)


def with_places(business):
    """The example business with positions, work and prices, as its pages need them."""
    return replace(
        business,
        places=(
            Place("Pelican Slough", 25.77, -80.14), Place("Cutter's Bight", 25.70, -80.20),
            Place("Juniper Point", 25.95, -80.12),
        ),
        services={
            "wash": Service("wash", {"en": "wash", "es": "lavado"}, Decimal(4), Decimal(90), Decimal("0.06")),
            "topper": Service("topper", {"en": "wash and topper", "es": "topper"}, Decimal(7), cure_hours=2),
            "reseal": Service("reseal", {"en": "reseal", "es": "sellado"}, Decimal(22), cure_hours=24),
        },
        segment_cost=Decimal("0.0125"),
    )  # fmt: skip


def seed(database, business, now: datetime) -> dict[str, int]:
    """Write the example clients; returns boats and an open handover by name."""
    made = {}
    with database.transaction(business.id) as tx:
        for name, phone, language, boat, kind, length, place, coating, days in CLIENTS:
            client = add_client(tx, NewClient(name, phone, language, business.zone, "US"), now)
            thread = threads.thread_of_client(tx, client, now)
            threads.record_consent(tx, thread, "service", now, medium="in person", wording="signed the work order")
            season = Season((5, 1), (10, 31)) if boat == "Paper Moon" else None
            vessel = Vessel(0, client, boat, kind, Decimal(length), place=place, season=season,
                            kept_off_season=Kept.INDOORS if season else None)  # fmt: skip
            made[boat] = care.add_vessel(tx, vessel, now)
            on = now.date() - timedelta(days=days)
            for surface in ("hull", "topsides"):
                care.add_application(tx, Application(0, made[boat], surface, coating, on), now)
            made[name] = thread
            made[f"client {name}"] = client
        care.add_event(tx, CareEvent(0, made["Sea Thistle"], CareKind.TOPPER, now.date() - timedelta(days=70)), now)
        care.add_job(tx, made["client Ana Reyes"], made["Sea Thistle"], date(2026, 10, 1), now, service="reseal", note="Two coats.")
        made["visit"] = _visit(tx, made, "Ana Reyes", "Sea Thistle", "wash", now, 13, "Pelican Slough", business)
        _visit(tx, made, "Chidi Obi", "Blue Ledger", "topper", now, 17, "Cutter's Bight", business)
        _visit(tx, made, "Elena Prats", "Golondrina", "wash", now + timedelta(days=1), 14, "Pelican Slough", business)
        made["handover"] = ask(tx, made["Ana Reyes"], "can I use vinegar on the " + NASTY, now)
        ask(tx, made["Bert Olsen"], "My bilge smells of gas!", now - timedelta(hours=3), urgent=True)
        outbox.enqueue(tx, outbox.Draft(
            made["Bert Olsen"], "service", "reminder", "Your wash is tomorrow at 9. " + NASTY, "r1", now + timedelta(days=1),
            why="a visit tomorrow"), now)  # fmt: skip
    return made


def keep_photo(tx, home, message_id: int, vessel_id: int, client_id: int, now: datetime) -> str:
    """A picture that came with a text, kept in the home; returns the name of its link."""
    name = "1/2027-05/a-picture-of-a-boat.jpg"
    (home / "media" / name).parent.mkdir(parents=True, exist_ok=True)
    Image.new("RGB", (40, 30), "teal").save(home / "media" / name)
    row = {"client_id": client_id, "vessel_id": vessel_id, "message_id": message_id, "file": name, "token": "picture1",
           "content_type": "image/jpeg", "width": 40, "height": 30, "kind": "photo", "taken_at": now, "created_at": now}  # fmt: skip
    tx.execute(insert(tables.photos), row)
    return "picture1"


def ask(tx, thread: int, text: str, now: datetime, urgent: bool = False) -> int:
    """A text that was handed over."""
    row = {"thread_id": thread, "inbound": True, "sid": None, "text": text, "at": now, "topic": "not_understood",
           "certainty": 0.3, "understood": False, "replies": ["I've asked Nola."],
           "decision": {"evidence": [{"words": "vinegar", "term": "substance vinegar", "rule": "exact " + NASTY}]}}  # fmt: skip
    message = tx.insert(insert(tables.messages), row)
    return handovers.open_handover(tx, thread, "not_understood", now, urgent=urgent, message_id=message)


def _visit(tx, made, name, boat, service, now, hour, place, business):
    begins = now.replace(hour=hour, minute=0)
    slot = Slot(1, begins, begins + timedelta(hours=2), place=place)
    return visits.book_visit(
        tx, made[f"client {name}"], slot, service, [made[boat]], business.zone, now, place=place, price=Decimal(112)
    )


def add_person(assistant, now, name="Nola", phone=OWNER, role="owner", password=PASSWORD) -> None:
    """An account with a password."""
    token = sign_in.invite(assistant, name, phone, role, "command line", now)
    assert sign_in.set_password(assistant, token, password, now).token


def code_in(html: str) -> str:
    """The code that the forms of a page carry."""
    return re.search(r'name="code" value="([0-9a-f]{64})"', html)[1]


def come_in(web, phone=OWNER, password=PASSWORD):
    """Sign in through the page, as a browser does; returns the answer."""
    code = code_in(web.get("/crew/sign-in", base_url="https://texts.example.com").text)
    form = {"phone": phone, "password": password, "code": code}
    return web.post("/crew/sign-in", data=form, base_url="https://texts.example.com")


class Crew:
    """A browser on the pages: every request goes to the public address, every form carries its page's code."""

    def __init__(self, web) -> None:
        self.web = web

    def get(self, path: str, **how):
        return self.web.get("/crew" + path, base_url="https://texts.example.com", **how)

    def post(self, path: str, data=None, page: str = "/more", **how):
        code = code_in(self.get(page).text)
        return self.web.post("/crew" + path, data={"code": code, **(data or {})}, base_url="https://texts.example.com", **how)
