"""A finished job is written down once, its care pack leaves at a fit hour, and closed records fall silent politely."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from sqlalchemy import select

from assistant.carriers.memory import MemoryCarrier
from assistant.domain.people import Kept, Season, Vessel
from assistant.domain.visits import Slot, VisitState
from assistant.storage import care, clients, outbox, threads, visits
from assistant.storage.nudges import log_of
from assistant.storage.tables import applications, jobs, next_due
from assistant.storage.tables import outbox as outbox_table
from assistant.usecases.close_record import close_client, close_vessel
from assistant.usecases.hand_over_job import Agreed, FinishedJob, hand_over_job
from assistant.usecases.plan_nudges import plan_nudges, plan_visit_texts
from assistant.usecases.send_due import send_due
from tests.hand_made import hand_made
from tests.nudging import at, knowledge

ANA = "+13055550111"
TODAY = date(2027, 6, 9)
NOON, EVENING = at(TODAY, 12), at(TODAY, 21)
SIGNED = Agreed(service=True, marketing=False, medium="paper", wording="Texts about my boat: yes", noted_by="Nola")


@pytest.fixture
def app(database, business, tmp_path):
    with database.transaction(business.id) as tx:
        new = clients.NewClient("Ana Reyes", ANA, "en", "America/New_York", "US")
        assert clients.add_client(tx, new, NOON) == 1
        assert care.add_vessel(tx, Vessel(0, 1, "Sea Thistle", length_ft=Decimal(28)), NOON) == 1
        season = Season((5, 15), (10, 15))
        boat = Vessel(0, 1, "Paper Moon", season=season, kept_off_season=Kept.INDOORS)
        assert care.add_vessel(tx, boat, NOON) == 2
    return replace(hand_made(database, business, tmp_path, carrier=MemoryCarrier()), knowledge=knowledge())


def job(**how):
    coats = (("hull", "sealant"), ("topsides", "sealant"))
    return FinishedJob(**{"client_id": 1, "vessel_id": 1, "finished_at": NOON, "coats": coats, "agreed": SIGNED} | how)


def rows(app, table):
    with app.database.engine.connect() as connection:
        return connection.execute(select(table).order_by(table.c.id)).all()


def agree(app, *kinds, now=NOON):
    with app.database.transaction(1) as tx:
        for kind in kinds:
            threads.record_consent(tx, threads.open_thread(tx, ANA, "sms", now), kind, now)


def sent(app):
    return [text.text for text in app.carrier.sent]


def work(app, now):
    plan_visit_texts(app, now)
    while plan_nudges(app, now):
        pass
    while send_due(app, now):
        pass


def test_a_job_is_written_down_with_its_coats_and_the_care_pack_leaves(app):
    handed = hand_over_job(app, job(service="reseal", price=Decimal(620)), NOON)
    send_due(app, NOON)
    assert sent(app) == [handed.text]
    assert handed.text.startswith("Fernwake Boat Care: Sea Thistle now has polymer sealant on the hull and topsides.")
    assert f"{app.settings.public_url}/card/" in handed.text
    assert [(row.surface, row.coating, row.applied_on, row.job_id) for row in rows(app, applications)] == [
        ("hull", "sealant", TODAY, handed.job_id),
        ("topsides", "sealant", TODAY, handed.job_id),
    ]
    assert [(row.service, row.finished_at, row.price) for row in rows(app, jobs)] == [("reseal", NOON, Decimal(620))]


def test_the_consent_is_kept_with_medium_wording_time_and_who_noted_it(app):
    hand_over_job(app, job(), NOON)
    with app.database.reading(1) as tx:
        (thread,) = threads.threads_of_client(tx, 1)
        log = threads.consent_log(tx, thread.id)
    assert (thread.consent.service, thread.consent.marketing) == (True, False)
    assert [(row.kind, row.given, row.medium, row.wording, row.at, row.noted_by) for row in log] == [
        ("service", True, "paper", "Texts about my boat: yes", NOON, "Nola"),
        ("marketing", False, "paper", "Texts about my boat: yes", NOON, "Nola"),
    ]


def test_a_care_pack_of_the_evening_leaves_in_the_morning_and_says_what_holds_then(app):
    """Wax stays dry for two hours: by eight in the morning that is over."""
    hand_over_job(app, job(finished_at=EVENING, coats=(("hull", "wax"),)), EVENING)
    send_due(app, EVENING)
    assert sent(app) == []
    send_due(app, at(date(2027, 6, 10), 8))
    (text,) = sent(app)
    assert "Keep it dry" not in text
    assert "No soap before Jun 10" in text


def test_a_job_handed_over_twice_even_at_once_is_one_job(app):
    gate = threading.Barrier(4)

    def press(_):
        gate.wait()
        return hand_over_job(app, job(), NOON)

    with ThreadPoolExecutor(4) as pool:
        handed = list(pool.map(press, range(4)))
    assert len({one.job_id for one in handed}) == 1
    assert sorted(one.repeated for one in handed) == [False, True, True, True]
    assert len(rows(app, jobs)) == 1
    assert len(rows(app, outbox_table)) == 1


def test_without_consent_the_job_is_kept_and_no_care_pack_is_queued(app):
    handed = hand_over_job(app, job(agreed=None), NOON)
    assert handed.why_none == "no consent to service texts"
    assert len(rows(app, applications)) == 2
    assert rows(app, outbox_table) == []


def test_a_signed_paper_does_not_lift_an_opt_out(app):
    with app.database.transaction(1) as tx:
        threads.opt_out(tx, threads.open_thread(tx, ANA, "sms", NOON), "stop", None, NOON)
    assert hand_over_job(app, job(), NOON).why_none == "opted out"


def test_a_wash_needs_no_care_pack_and_the_visit_is_thanked_for(app):
    agree(app, "service")
    day = at(TODAY, 9)
    with app.database.transaction(1) as tx:
        slot = Slot(1, day, day + timedelta(hours=2))
        visit_id = visits.book_visit(tx, 1, slot, "wash", [1], "America/New_York", at(date(2027, 6, 1)), place="Pelican Slough")
    handed = hand_over_job(app, job(coats=(), service="wash", visit_id=visit_id, agreed=None), NOON)
    assert handed.why_none == "nothing was put on that needs care"
    with app.database.reading(1) as tx:
        visit = visits.find_visit(tx, visit_id)
    assert visit is not None
    assert visit.state is VisitState.DONE
    work(app, NOON)
    assert sent(app) == []
    work(app, at(date(2027, 6, 10)))
    assert [text.partition(". ")[0] for text in sent(app)] == ["Fernwake Boat Care: thanks for having us at Sea Thistle"]


def test_a_job_of_last_week_is_no_news(app):
    assert hand_over_job(app, job(), NOON + timedelta(days=8)).why_none == "no hour is fit before it is too late"


def test_somebody_elses_boat_is_refused(app):
    with pytest.raises(LookupError, match="vessel 9"):
        hand_over_job(app, job(vessel_id=9), NOON)
    with pytest.raises(LookupError, match="client 9"):
        hand_over_job(app, job(client_id=9), NOON)
    assert rows(app, jobs) == []


def test_a_flashlight_test_corrects_the_estimate(app):
    hand_over_job(app, job(), NOON)
    with app.database.transaction(1) as tx:
        (fleet,) = care.fleets(tx, 1)
        assert fleet.events == ()
    hand_over_job(app, job(coats=(), grade="chalky", finished_at=NOON + timedelta(days=30), agreed=None), NOON + timedelta(days=30))
    with app.database.transaction(1) as tx:
        (fleet,) = care.fleets(tx, 1)
    assert [event.grade for event in fleet.events] == ["chalky"]
    agree(app, "marketing", now=NOON + timedelta(days=30))
    work(app, at(date(2027, 7, 10)))
    assert any("is used up about now" in text for text in sent(app))


def test_a_visit_is_reminded_of_though_it_names_no_boat(app):
    agree(app, "service")
    day = at(date(2027, 6, 11), 9)
    with app.database.transaction(1) as tx:
        slot = Slot(1, day, day + timedelta(hours=2))
        visits.book_visit(tx, 1, slot, "wash", [], "America/New_York", NOON)
    for hour in (8, 10, 12, 19):
        work(app, at(date(2027, 6, 10), hour))
    (text,) = sent(app)
    assert "Fri Jun 11, 9 am" in text


def test_a_visit_called_off_is_not_reminded_of(app):
    agree(app, "service")
    day = at(date(2027, 6, 11), 9)
    with app.database.transaction(1) as tx:
        slot = Slot(1, day, day + timedelta(hours=2))
        visit_id = visits.book_visit(tx, 1, slot, "wash", [1], "America/New_York", NOON)
    plan_visit_texts(app, at(date(2027, 6, 10), 1))
    with app.database.transaction(1) as tx:
        visits.call_off_visit(tx, visit_id, "rain", at(date(2027, 6, 10), 2))
    work(app, at(date(2027, 6, 10), 12))
    assert sent(app) == []
    (queued,) = rows(app, outbox_table)
    assert (queued.state, queued.why) == ("dropped", "visit_reminder is not due any more")


def test_a_sold_boat_gets_one_last_word_and_the_other_goes_on(app):
    agree(app, "service", "marketing")
    hand_over_job(app, job(), NOON)
    hand_over_job(app, job(vessel_id=2), NOON)
    assert close_vessel(app, 1, 1, "sold", NOON) is True
    while send_due(app, NOON):
        pass
    first, last = sent(app)
    assert first.startswith("Fernwake Boat Care: Paper Moon now has")
    assert last.startswith("Fernwake Boat Care: Sea Thistle is off our list")
    work(app, at(date(2027, 6, 18)))
    assert [("Sea Thistle" in text, "Paper Moon" in text) for text in sent(app)[2:]] == [(False, True)]


@pytest.mark.parametrize(("why", "told"), [("sold", True), ("moved", True), ("deceased", False), ("number_returned", False)])
def test_a_closed_client_gets_at_most_one_last_word(app, why, told):
    agree(app, "service", "marketing")
    hand_over_job(app, job(), NOON)
    assert close_client(app, 1, why, NOON) is told
    for days in range(60):
        work(app, NOON + timedelta(days=days))
    assert len(sent(app)) == told
    assert all("off our list" in text for text in sent(app))
    assert _moments(app) == []


def _moments(app):
    with app.database.engine.connect() as connection:
        return connection.execute(select(next_due.c.vessel_id)).all()


def test_closing_without_consent_says_nothing_and_an_unknown_reason_is_refused(app):
    assert close_client(app, 1, "sold", NOON) is False
    with pytest.raises(ValueError, match="bored"):
        close_vessel(app, 1, 2, "bored", NOON)


def test_what_a_person_held_back_is_not_queued_again(app):
    agree(app, "service")
    hand_over_job(app, job(), NOON)
    send_due(app, NOON)
    week_later = at(date(2027, 6, 17), 9)
    while plan_nudges(app, week_later):
        pass
    with app.database.transaction(1) as tx:
        (text,) = outbox.texts_in(tx, "queued")
        outbox.drop(tx, text.id, "held back by Nola")
    for days in range(8):
        work(app, week_later + timedelta(days=days))
    assert len(sent(app)) == 1


def test_one_bad_record_does_not_keep_the_others_waiting(app, monkeypatch):
    from assistant.usecases import plan_nudges as module

    agree(app, "service")
    with app.database.transaction(1) as tx:
        bert = clients.add_client(tx, clients.NewClient("Bert Olsen", "+12165550122", "en", "America/New_York", "US"), NOON)
        boat = care.add_vessel(tx, Vessel(0, bert, "Blue Ledger"), NOON)
        threads.record_consent(tx, threads.open_thread(tx, "+12165550122", "sms", NOON), "service", NOON)
    hand_over_job(app, job(), NOON)
    hand_over_job(app, job(client_id=bert, vessel_id=boat), NOON)
    send_due(app, NOON)
    foresee = module.foresee

    def fails_for_ana(view):
        if view.scene.situation.client.id == 1:
            raise ZeroDivisionError
        return foresee(view)

    monkeypatch.setattr(module, "foresee", fails_for_ana)
    when = at(date(2027, 6, 17))
    while plan_nudges(app, when):
        pass
    send_due(app, when)
    assert ["Blue Ledger" in text for text in sent(app)[2:]] == [True]
    monkeypatch.setattr(module, "foresee", foresee)
    work(app, when + timedelta(hours=7))
    assert "Sea Thistle" in sent(app)[3]


def test_two_planners_at_once_queue_each_text_once(app):
    agree(app, "service")
    hand_over_job(app, job(), NOON)
    gate = threading.Barrier(4)
    when = at(date(2027, 6, 17))

    def plan(_):
        gate.wait()
        while plan_nudges(app, when):
            pass

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(plan, range(4)))
    kinds = [row.kind for row in rows(app, outbox_table)]
    assert sorted(kinds) == ["nudge:care_pack", "nudge:check_in"]
    with app.database.reading(1) as tx:
        (entry,) = log_of(tx, [f"check_in/1/sealant/{TODAY}"]).values()
    assert entry.spent
