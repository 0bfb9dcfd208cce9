"""A year of nudges: clients in many zones who opt out, book, reply and fall silent, and workers that die at any moment.

By default 60 clients, so that it takes less than a minute; AFTERCARE_FULL_YEAR=1 runs the whole thousand. The year is
December 2027 to November 2028: both clock changes, New Year, 29 February. What may leave is judged here from tables
typed in by hand, not by the code under test.
"""

from __future__ import annotations

import os
from collections import Counter, defaultdict
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import partial
from itertools import pairwise
from random import Random
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import event, select, update

from assistant.carriers.carrier import OutgoingText, Receipt
from assistant.carriers.memory import MemoryCarrier
from assistant.domain.conversation import decision as d
from assistant.domain.errors import CarrierBusy, CarrierUnknown
from assistant.domain.nudges import foresee
from assistant.domain.people import Application, CareKind, Kept, Season, Vessel
from assistant.domain.visits import Slot
from assistant.storage import care, clients, nudges, outbox, threads, visits
from assistant.storage.changes import carry_out
from assistant.storage.tables import clients as clients_table
from assistant.storage.tables import handovers as handovers_table
from assistant.storage.tables import outbox as outbox_table
from assistant.storage.tables import threads as threads_table
from assistant.usecases import plan_nudges as planning
from assistant.usecases.close_record import close_client
from assistant.usecases.hand_over_job import FinishedJob, hand_over_job
from assistant.usecases.send_due import send_due, settle_uncertain
from tests.hand_made import hand_made
from tests.nudging import knowledge

HOW_MANY = 1000 if os.environ.get("AFTERCARE_FULL_YEAR") else 60
FIRST, LAST = date(2027, 12, 1), date(2028, 11, 30)
AREAS = {
    "305": "America/New_York", "216": "America/New_York", "312": "America/Chicago", "512": "America/Chicago",
    "303": "America/Denver", "602": "America/Phoenix", "206": "America/Los_Angeles", "619": "America/Los_Angeles",
    "808": "Pacific/Honolulu", "907": "America/Anchorage",
}  # fmt: skip
HOLIDAYS = {
    date(2027, 12, 24), date(2027, 12, 25), date(2027, 12, 31), date(2028, 1, 1), date(2028, 1, 17), date(2028, 2, 21),
    date(2028, 5, 29), date(2028, 6, 19), date(2028, 7, 4), date(2028, 9, 4), date(2028, 11, 10), date(2028, 11, 11),
    date(2028, 11, 23), date(2028, 12, 25),
}  # fmt: skip
"""Federal holidays of the United States in that year, with the days they are observed on."""
HOURS = {"service": (time(8), time(20)), "marketing": (time(10), time(17))}
NOT_COUNTED = {"visit_reminder", "care_pack", "number_closed"}
SEASONS = (Season((5, 15), (10, 15)), Season((11, 1), (2, 15)), Season((9, 1), (2, 29)), Season((3, 31), (1, 31)))
DAY = timedelta(days=1)


class Died(BaseException):
    """The worker is gone, as if by kill -9."""


@dataclass
class Booking:
    """What we know of a visit, apart from the program."""

    id: int
    client: int
    vessel: int
    service: str
    begins: datetime
    made_at: datetime
    gone_at: datetime | None = None


@dataclass
class World(MemoryCarrier):
    """The clock, the dice, the carrier that dies or doubts, and what was done to whom."""

    chance: Random = field(default_factory=lambda: Random(41))
    now: datetime = datetime(2027, 12, 1, tzinfo=UTC)
    left: list[tuple[datetime, OutgoingText]] = field(default_factory=list)
    bookings: list[Booking] = field(default_factory=list)
    silent: dict[str, list[tuple[datetime, datetime | None]]] = field(default_factory=lambda: defaultdict(list))
    """Number -> when it had opted out, from and until."""
    closed: dict[str, datetime] = field(default_factory=dict)
    happened: Counter = field(default_factory=Counter)
    never_noted: set[str] = field(default_factory=set)

    def send(self, text: OutgoingText) -> Receipt:
        """Take the text; sometimes die before or after, or lose the answer, or have no time."""
        dice = self.chance.random()
        for limit, trouble in ((0.01, Died()), (0.02, CarrierUnknown("lost")), (0.04, CarrierBusy("busy"))):
            if dice < limit:
                self.happened[type(trouble).__name__ + " before"] += 1
                raise trouble
        receipt = super().send(text)
        self.left.append((self.now, text))
        for limit, trouble in ((0.95, None), (0.97, CarrierUnknown("lost")), (1, Died())):
            if dice < limit:
                if trouble is not None:
                    self.happened[type(trouble).__name__ + " after"] += 1
                    raise trouble
                break
        return receipt


@pytest.fixture
def world():
    return World()


@pytest.fixture
def app(database, business, tmp_path, world, monkeypatch):
    if not database.postgres:
        database.dispose()
        event.listen(database.engine, "connect", lambda connection, _: connection.execute("PRAGMA synchronous = OFF"))
    enqueue = outbox.enqueue

    def die_in_the_middle(tx, draft, now):
        number = enqueue(tx, draft, now)
        if world.chance.random() < 0.03:
            world.happened["died while planning"] += 1
            raise Died
        return number

    monkeypatch.setattr(outbox, "enqueue", die_in_the_middle)
    return replace(hand_made(database, business, tmp_path, carrier=world), knowledge=knowledge())


def populate(app, world):
    """Clients with one or two boats, most of them sealed at some time of the last half year."""
    chance = world.chance
    for number in range(HOW_MANY):
        area = sorted(AREAS)[number % len(AREAS)]
        phone = f"+1{area}5550{100 + number // len(AREAS)}"
        zone = AREAS[area] if chance.random() < 0.85 else chance.choice(sorted(set(AREAS.values())))
        with app.database.transaction(1) as tx:
            language = "es" if chance.random() < 0.2 else "en"
            client = clients.add_client(tx, clients.NewClient(f"C{number} X", phone, language, zone, "US"), world.now)
            thread = threads.thread_of_client(tx, client, world.now)
            for kind, share in (("service", 0.95), ("marketing", 0.75)):
                if chance.random() < share:
                    threads.record_consent(tx, thread, kind, world.now)
            for boat in range(chance.choice((1, 1, 2))):
                vessel = care.add_vessel(tx, some_vessel(chance, client, f"Boat {number}-{boat}"), world.now)
                if chance.random() < 0.9:
                    on = FIRST - chance.randrange(180) * DAY
                    coating = chance.choice(("sealant", "sealant", "sealant", "wax", "ceramic", "topper"))
                    care.add_application(tx, Application(0, vessel, "hull", coating, on), world.now)


def some_vessel(chance, client, name):
    if chance.random() < 0.6:
        return Vessel(0, client, name, kept=chance.choice(list(Kept)))
    season = chance.choice(SEASONS)
    return Vessel(0, client, name, kept=Kept.IN_WATER, season=season, kept_off_season=Kept.INDOORS)


def change(app, world, client_id, *changes):
    """Carry changes out as an incoming text does."""
    with app.database.transaction(1) as tx:
        client = clients.find_client(tx, client_id)
        situation = planning.situation_of(app, tx, client, world.now)
        carry_out(tx, [one(situation) if callable(one) else one for one in changes], situation, None, world.now)
        return client, situation


def live_a_little(app, world):
    """Things that happen to a few clients at this moment."""
    chance = world.chance
    for _ in range(chance.randrange(max(2, HOW_MANY // 20))):
        client_id = chance.randrange(1, HOW_MANY + 1)
        with app.database.reading(1) as tx:
            vessel = chance.choice(next(care.fleets(tx, client_id)).vessels).id
        happens = chance.choices([what for what, _ in HAPPENINGS], [weight for _, weight in HAPPENINGS])[0]
        world.happened[happens.__name__] += 1
        happens(app, world, client_id, vessel)


def sprays_topper(app, world, client_id, vessel):
    change(app, world, client_id, d.LogCare(vessel, CareKind.TOPPER, world.now.date()))


def uses_bleach(app, world, client_id, vessel):
    change(app, world, client_id, d.LogCare(vessel, CareKind.HARSH_WASH, world.now.date(), substance="bleach"))


def says_later(app, world, client_id, vessel):
    kind = world.chance.choice(["topper", "monthly_topper", "reseal_soon", "reseal_due+monthly_topper"])
    change(app, world, client_id, d.Snooze(kind, world.now.date() + 14 * DAY))


def ends_a_kind(app, world, client_id, vessel):
    change(app, world, client_id, d.EndKind(world.chance.choice(["monthly_topper", "layup", "reseal", "marketing"])))


def opts_out(app, world, client_id, vessel):
    client, situation = change(app, world, client_id, d.OptOut("please stop all this", True))
    if situation.consent.reachable:
        world.silent[client.phone].append((world.now, None))


def opts_in(app, world, client_id, vessel):
    client, situation = change(app, world, client_id, d.OptIn("start again"))
    if not situation.consent.reachable:
        world.silent[client.phone][-1] = (world.silent[client.phone][-1][0], world.now)


def owes_an_answer(app, world, client_id, vessel):
    change(app, world, client_id, d.AskClient("which_vessel", {}, world.now + timedelta(hours=24)))


def wants_a_person(app, world, client_id, vessel):
    change(app, world, client_id, d.HandOver("asked_for"))


def books(app, world, client_id, vessel):
    begins = (world.now + world.chance.randrange(1, 40) * DAY).replace(hour=15, minute=0, second=0, microsecond=0)
    service = world.chance.choice(["reseal", "wash", "topper"])
    slot = Slot(10_000 + len(world.bookings), begins, begins + timedelta(hours=3))
    with app.database.transaction(1) as tx:
        number = visits.book_visit(tx, client_id, slot, service, [vessel], "America/New_York", world.now)
        care.mark_due(tx, vessel, world.now)
    world.bookings.append(Booking(number, client_id, vessel, service, begins, world.now))


def calls_off(app, world, client_id, vessel):
    ahead = [one for one in world.bookings if one.client == client_id and one.begins > world.now and not one.gone_at]
    for one in ahead[:1]:
        change(app, world, client_id, d.CallOffVisit(one.id, "rain"))
        one.gone_at = world.now


def is_closed(app, world, client_id, vessel):
    with app.database.reading(1) as tx:
        client = clients.find_client(tx, client_id)
    if client.closed is None:
        why = world.chance.choice(["sold", "moved", "deceased"])
        until_it_is_done(lambda: close_client(app, client_id, why, world.now))
        world.closed[client.phone] = world.now


HAPPENINGS = (
    (sprays_topper, 30), (says_later, 6), (ends_a_kind, 1), (uses_bleach, 4), (books, 12), (calls_off, 3), (opts_out, 1.5),
    (opts_in, 2), (owes_an_answer, 3), (wants_a_person, 2), (is_closed, 0.5),
)  # fmt: skip
"""What may happen, and how often compared to the rest."""


def until_it_is_done(do):
    """A person presses again when the program died under them."""
    while True:
        try:
            return do()
        except Died:
            continue


def finish_visits(app, world):
    """The crew hands over most of what was booked; some visits are forgotten."""
    for one in world.bookings:
        ends = one.begins + timedelta(hours=3)
        if one.gone_at is None and ends <= world.now:
            one.gone_at = ends + 21 * DAY
            coats = {"reseal": (("hull", "sealant"),), "topper": (("hull", "topper"),)}.get(one.service, ())
            if world.chance.random() < 0.85:
                one.gone_at = ends
                job = FinishedJob(one.client, one.vessel, ends, coats, one.service, one.id)
                until_it_is_done(partial(hand_over_job, app, job, world.now))


def work(app, world):
    """One round of a worker that may die anywhere in it; some rounds are run twice. True when it lived to the end."""
    lived = True
    for step in (planning.plan_visit_texts, planning.plan_nudges, planning.plan_nudges, send_due):
        for _ in range(world.chance.choice((1, 1, 2))):
            try:
                while step(app, world.now):
                    pass
            except Died:
                lived = False
    settle_uncertain(app, world.now)
    return lived


def look_closely(app, world):
    """Of some clients: what was due up to yesterday has a text or a reason, or nobody ever wrote it down."""
    for client_id in world.chance.sample(range(1, HOW_MANY + 1), HOW_MANY // 6):
        with app.database.reading(1) as tx:
            client = clients.find_client(tx, client_id)
            situation = planning.situation_of(app, tx, client, world.now)
            view = planning.outlook_for(app, tx, situation, world.now)
            due = {nudge.occasion for nudge in foresee(view) if nudge.due_on < view.scene.today and nudge.vessel}
            if client.closed is None:
                world.never_noted |= due - set(nudges.log_of(tx, due))


def run_the_year(app, world):
    for number in range((LAST - FIRST).days + 1):
        midnight = datetime.combine(FIRST + number * DAY, time(), UTC)
        for minute in sorted(world.chance.sample(range(24 * 60), 4)):
            world.now = midnight + timedelta(minutes=minute)
            finish_visits(app, world)
            live_a_little(app, world)
            lived = work(app, world)
        if lived and number % 3 == 0:
            look_closely(app, world)
        close_handovers(app, world)


def close_handovers(app, world):
    """The detailer looks at what is open every third evening."""
    if world.chance.random() < 0.3:
        with app.database.engine.begin() as connection:
            connection.execute(update(handovers_table).values(state="closed"))


def sent_rows(app):
    """Every text that left or may have, with the number and zone of its client."""
    query = (
        select(outbox_table, clients_table.c.phone, clients_table.c.zone)
        .join(threads_table, threads_table.c.id == outbox_table.c.thread_id)
        .join(clients_table, clients_table.c.id == threads_table.c.client_id)
        .where(outbox_table.c.state.in_(("sending", "unknown", "sent", "delivered")))
    )
    with app.database.engine.connect() as connection:
        return connection.execute(query).all()


def test_a_year_with_opt_outs_bookings_replies_crashes_and_repeated_runs(app, world):
    populate(app, world)
    run_the_year(app, world)
    rows = sent_rows(app)
    really = matched(world.left, rows)
    assert wrong_hours(really) == []
    assert after_opt_out(really, world) == []
    assert after_closing(really, world) == []
    assert twice(rows) == []
    assert above_caps(rows) == []
    assert answered_already(really, world) == []
    assert world.never_noted == set()
    enough_happened(world, really)


def matched(left, rows):
    """Each text that the carrier was given, with its own row: two visits alike are two rows with the same words."""
    by_text = defaultdict(list)
    for row in rows:
        by_text[row.phone, row.claimed_at, row.text].append(row)
    return [(moment, text, by_text[text.to, moment, text.text].pop()) for moment, text in left]


def zones_of(row):
    return {row.zone, AREAS[row.phone[2:5]]}


def wrong_hours(really):
    """Texts that left, or that the carrier might have held back until, an hour that is not fit somewhere."""
    wrong = []
    for moment, text, row in really:
        opens, closes = HOURS[row.consent]
        for zone in map(ZoneInfo, zones_of(row)):
            local = moment.astimezone(zone)
            rest = row.consent == "marketing" and (local.weekday() == 6 or local.date() in HOLIDAYS)
            end = datetime.combine(local.date(), closes, zone).astimezone(UTC)
            late = moment + timedelta(seconds=text.valid_seconds) > end
            if rest or late or not opens <= local.time() < closes:
                wrong.append((str(local), row.kind, row.consent))
    return wrong


def after_opt_out(really, world):
    return [(moment, text.to) for moment, text, _ in really
            for begun, over in world.silent.get(text.to, ()) if begun <= moment and (over is None or moment < over)]  # fmt: skip


def after_closing(really, world):
    return [(moment, row.kind) for moment, text, row in really
            if text.to in world.closed and moment >= world.closed[text.to] and row.kind != "nudge:number_closed"]  # fmt: skip


def twice(rows):
    """Occasions that were told of twice. A text that left twice has no second row and was not `matched`."""
    told = Counter(occasion for row in rows for occasion in (row.data or {}).get("occasions", ()))
    return [occasion for occasion, count in told.items() if count > 1]


def above_caps(rows):
    """Nudges of one client closer than seven days, or more than two in thirty; what is uncertain counts as sent."""
    by_client = defaultdict(list)
    for row in rows:
        if not set(row.kind.removeprefix("nudge:").split("+")) <= NOT_COUNTED:
            by_client[row.phone].append(row.sent_at or row.claimed_at)
    above = []
    for phone, moments in by_client.items():
        moments.sort()
        above += [(phone, a, b) for a, b in pairwise(moments) if b - a < 7 * DAY]
        above += [(phone, a, c) for a, c in zip(moments, moments[2:], strict=False) if c - a < 30 * DAY]
    return above


def answered_already(really, world):
    """Reseal nudges for a boat that has a reseal booked."""
    wrong = []
    for moment, _, row in really:
        if "reseal_" in row.kind:
            wrong += [(moment, one) for one in world.bookings
                      if one.service == "reseal" and [one.vessel] == row.data["vessel_ids"] and one.made_at <= moment
                      and (one.gone_at is None or moment < one.gone_at)]  # fmt: skip
    return wrong


def enough_happened(world, really):
    """The year was not an empty one."""
    kinds = Counter(kind for _, _, row in really for kind in row.kind.removeprefix("nudge:").split("+"))
    print(dict(kinds), dict(world.happened), len(really))
    assert {"check_in", "first_topper", "monthly_topper", "reseal_soon", "reseal_due", "reseal_overdue", "layup", "launch",
            "after_harsh", "visit_reminder", "thanks_after_visit", "care_pack"} <= set(kinds)  # fmt: skip
    assert min(world.happened[what] for what in ("opts_out", "books", "Died after", "died while planning")) >= 5
