"""Situations, changes and turns: what a decision sees, and that what it decides is written."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal

import pytest
from sqlalchemy import event, select

from assistant.domain.business import Business
from assistant.domain.conversation import decision as d
from assistant.domain.conversation.situation import InboundMessage, Media, Situation
from assistant.domain.people import Application, CareEvent, CareKind, Kept, Season, Vessel
from assistant.domain.visits import Slot, TimeWish, VisitState
from assistant.storage import care, handovers, messages, outbox, plans, threads, visits
from assistant.storage.changes import carry_out
from assistant.storage.clients import NewClient, add_client, find_client
from assistant.storage.database import Database, Transaction, ours
from assistant.storage.situations import load_situation
from assistant.storage.tables import holds, next_due, occupied

ANA = NewClient("Ana Reyes", "+13055550111", "en", "America/New_York", "US")
BERT = NewClient("Bert Olsen", "+12165550122", "en", "America/New_York", "US")
HOUR = timedelta(hours=1)


@pytest.fixture
def ana(database: Database, now: datetime) -> int:
    with database.transaction(1) as tx:
        client = add_client(tx, ANA, now)
        boat = Vessel(
            0, client, "Sea Thistle", "center console", Decimal(28), season=Season((5, 1), (10, 31)),
            kept_off_season=Kept.COVERED,
        )  # fmt: skip
        vessel = care.add_vessel(tx, boat, now)
        for surface in ("hull", "topsides"):
            care.add_application(tx, Application(0, vessel, surface, "sealant", date(2027, 3, 1)), now)
        care.add_event(tx, CareEvent(0, vessel, CareKind.TOPPER, date(2027, 4, 2), Decimal("0.3")), now)
    return client


def said(text: str = "hello", sid: str = "SM1", sender: str = ANA.phone, channel: str = "sms") -> InboundMessage:
    return InboundMessage(sid, sender, "+13055550100", text, channel=channel)


def situation_of(tx: Transaction, business: Business, now: datetime, **kwargs: str) -> Situation:
    return load_situation(tx, business, said(**kwargs), now, "https://x.example")


def converse(tx: Transaction, business: Business, now: datetime, sid: str, *changes: d.Change) -> int:
    """Keep a text of Ana's and carry out these changes, as a decision on it would."""
    situation = situation_of(tx, business, now)
    decision = d.Decision(("fine",), tuple(changes), topic="safe_soap")
    message_id = messages.keep_inbound(tx, situation.thread_id, said(sid=sid), decision, now)
    assert message_id is not None
    carry_out(tx, changes, situation, message_id, now)
    return message_id


@contextmanager
def counted(database: Database) -> Iterator[list[str]]:
    statements: list[str] = []

    def note(_c: object, _cur: object, statement: str, *_: object) -> None:
        statements.append(statement)

    event.listen(database.engine, "before_cursor_execute", note)
    yield statements
    event.remove(database.engine, "before_cursor_execute", note)


def test_a_situation_holds_the_whole_record(database: Database, business: Business, ana: int, now: datetime) -> None:
    with database.reading(1) as tx:
        situation = situation_of(tx, business, now)
    assert situation.client is not None
    assert (situation.client.id, situation.client.first_name, situation.client.closed) == (ana, "Ana", None)
    (boat,) = situation.vessels
    assert (boat.name, boat.length_ft, boat.kept_on(date(2027, 12, 1))) == ("Sea Thistle", Decimal(28), Kept.COVERED)
    assert [coat.surface for coat in situation.applications] == ["hull", "topsides"]
    assert situation.events[0].area == Decimal("0.3")
    assert situation.card_url.startswith("https://x.example/card/")
    assert not situation.consent.service
    assert situation.consent.reachable


def test_a_stranger_has_an_empty_situation(database: Database, business: Business, ana: int, now: datetime) -> None:
    with database.transaction(1) as tx:
        situation = situation_of(tx, business, now, sender="+13055550199")
    assert situation.client is None
    assert (situation.vessels, situation.turns, situation.card_url, situation.thread_id) == ((), (), "", 0)


def test_a_client_on_another_channel_is_known_there_too(
    database: Database, business: Business, ana: int, now: datetime
) -> None:
    with database.transaction(1) as tx:
        situation = situation_of(tx, business, now, channel="whatsapp")
        thread = threads.open_thread(tx, ANA.phone, "whatsapp", now)
        known = situation_of(tx, business, now, channel="whatsapp")
    assert situation.client is not None
    assert (situation.client.id, len(situation.vessels), situation.thread_id) == (ana, 1, 0)
    assert (known.client, known.thread_id) == (situation.client, thread)


def test_the_number_of_queries_is_small_and_fixed(
    database: Database, business: Business, ana: int, now: datetime
) -> None:
    with database.transaction(1) as tx:
        for number in range(30):
            converse(tx, business, now, f"SM{number}")
            care.add_vessel(tx, Vessel(0, ana, f"Boat {number}"), now)
    with counted(database) as statements, database.transaction(1) as tx:
        situation = situation_of(tx, business, now)
    queries = [statement for statement in statements if not statement.startswith("BEGIN")]
    assert len(queries) == 6
    assert len(situation.vessels) == 31
    assert len(situation.turns) == 2 * messages.TURNS


def test_turns_come_oldest_first_with_their_replies(
    database: Database, business: Business, ana: int, now: datetime
) -> None:
    with database.transaction(1) as tx:
        thread = situation_of(tx, business, now).thread_id
        first = d.Decision(("one", "two"), topic="safe_soap", remember={"substance": "vinegar", "on": now.date()})
        messages.keep_inbound(tx, thread, said("first", "SM1"), first, now)
        messages.keep_outbound(tx, thread, "a reminder", now + HOUR, topic="reminder", written_by="Nola")
        messages.keep_inbound(tx, thread, said("??", "SM2"), d.Decision(("sorry?",)), now + 2 * HOUR)
        messages.keep_inbound(tx, thread, said("???", "SM3"), d.Decision(("sorry?",)), now + 3 * HOUR)
        situation = situation_of(tx, business, now + 3 * HOUR)
    spoken = [(turn.inbound, turn.text) for turn in situation.turns]
    assert spoken[:4] == [(True, "first"), (False, "one"), (False, "two"), (False, "a reminder")]
    assert situation.turns[0].data == {"substance": "vinegar", "on": "2027-05-04"}
    assert situation.not_understood == 2


def test_media_and_evidence_are_kept_with_the_text(
    database: Database, business: Business, ana: int, now: datetime
) -> None:
    with database.transaction(1) as tx:
        thread = situation_of(tx, business, now).thread_id
        text = replace(said(), media=(Media("https://api.twilio.com/1", "image/jpeg"),))
        decision = d.Decision(
            ("yes",), verdict="yes", certainty=0.9, topic="safe_soap", why="rule 3", asked=("soap?",)
        )
        messages.keep_inbound(tx, thread, text, decision, now)
        (row,) = messages.history(tx, thread)
    assert row.media == [{"url": "https://api.twilio.com/1", "content_type": "image/jpeg"}]
    assert (row.verdict, row.certainty, row.decision["why"], row.decision["asked"]) == (
        "yes",
        0.9,
        "rule 3",
        ["soap?"],
    )


def test_the_same_carrier_id_is_kept_once(database: Database, business: Business, ana: int, now: datetime) -> None:
    with database.transaction(1) as tx:
        thread = situation_of(tx, business, now).thread_id
        assert messages.stored_replies(tx, "SM1") is None
        assert messages.keep_inbound(tx, thread, said(), d.Decision(("hi",)), now) is not None
        assert messages.keep_inbound(tx, thread, said(), d.Decision(("other",)), now) is None
        assert messages.stored_replies(tx, "SM1") == ("hi",)


def test_opting_out_closes_every_channel_and_drops_what_is_queued(
    database: Database, business: Business, ana: int, now: datetime
) -> None:
    with database.transaction(1) as tx:
        sms = situation_of(tx, business, now).thread_id
        other = threads.open_thread(tx, ANA.phone, "whatsapp", now)
        threads.record_consent(tx, sms, "service", now, medium="paper", wording="yes please", on=date(2027, 1, 1))
        threads.record_consent(tx, sms, "marketing", now)
        for thread in (sms, other):
            outbox.enqueue(tx, outbox.Draft(thread, "service", "reminder", "text", f"key {thread}", now), now)
        converse(tx, business, now, "SM1", d.OptOut("STOP", confirm=False))
        situation = situation_of(tx, business, now)
        assert (situation.consent.service, situation.consent.marketing) == (False, False)
        assert situation.consent.opted_out_at == now
        assert [text.why for text in outbox.texts_in(tx, "dropped")] == ["opted out"] * 2
        assert [(row.kind, row.given, row.wording) for row in threads.consent_log(tx, sms)] == [
            ("service", True, "yes please"), ("marketing", True, ""), ("all", False, "STOP"),
        ]  # fmt: skip
        converse(tx, business, now, "SM2", d.OptIn("START"))
        again = situation_of(tx, business, now).consent
        assert (again.service, again.marketing, again.reachable) == (True, False, True)


def test_a_stranger_can_opt_out(database: Database, business: Business, now: datetime) -> None:
    with database.transaction(1) as tx:
        thread = threads.open_thread(tx, "+13055550199", "sms", now)
        stranger = situation_of(tx, business, now, sender="+13055550199")
        carry_out(tx, [d.OptOut("stop", confirm=False)], stranger, None, now)
        found = threads.read_thread(tx, thread)
        assert found is not None
        assert not found.consent.reachable


def test_one_kind_can_end_or_rest(database: Database, business: Business, ana: int, now: datetime) -> None:
    with database.transaction(1) as tx:
        thread = situation_of(tx, business, now).thread_id
        for kind in ("reseal_due", "first_wash"):
            outbox.enqueue(tx, outbox.Draft(thread, "marketing", kind, "text", kind, now), now)
        converse(tx, business, now, "SM1", d.EndKind("reseal_due"), d.Snooze("topper", date(2027, 7, 1)))
        converse(tx, business, now, "SM2", d.EndKind("winter"), d.Snooze("topper", date(2027, 8, 1)))
        assert situation_of(tx, business, now).consent.ended_kinds == {"reseal_due", "winter"}
        assert threads.snoozed(tx, ana) == {"topper": date(2027, 8, 1)}
        assert [text.kind for text in outbox.texts_in(tx, "queued")] == ["first_wash"]


def test_questions_replace_each_other_and_expire(
    database: Database, business: Business, ana: int, now: datetime
) -> None:
    with database.transaction(1) as tx:
        converse(tx, business, now, "SM1", d.AskClient("which_vessel", {"ids": (1, 2)}, now + HOUR))
        converse(tx, business, now, "SM2", d.AskClient("offer", {"day": date(2027, 5, 6)}, now + 2 * HOUR))
        question = situation_of(tx, business, now + HOUR).question
        assert question is not None
        assert (question.kind, question.data, question.asked_at) == ("offer", {"day": "2027-05-06"}, now)
        assert situation_of(tx, business, now + 2 * HOUR).question is None
        converse(tx, business, now, "SM3", d.CloseQuestion())
        assert situation_of(tx, business, now).question is None


def test_a_handover_is_seen_answered_once_and_taught(
    database: Database, business: Business, ana: int, now: datetime
) -> None:
    with database.transaction(1) as tx:
        converse(tx, business, now, "SM1", d.HandOver("not_sure", note="which wax?"))
        converse(tx, business, now, "SM2", d.HandOver("safety", urgent=True))
        assert situation_of(tx, business, now).open_handover
        urgent, first = handovers.handovers_in(tx)
        assert (urgent.reason, first.question, first.name, first.client_id) == ("safety", "hello", "Ana Reyes", ana)
        assert handovers.opened_after(tx, first.id) == (urgent,)
        assert handovers.answer_handover(tx, first.id, "carnauba", "Nola", now)
        assert not handovers.answer_handover(tx, first.id, "other", "Ines", now)
        handovers.teach(tx, first.question, "carnauba", "Nola", now, topic="which_wax", handover_id=first.id)
        assert handovers.close_handover(tx, urgent.id, "Nola", now)
        answered = handovers.find_handover(tx, first.id)
        assert answered is not None
        assert (answered.state, answered.answer, answered.taught_topic) == ("answered", "carnauba", "which_wax")
        assert [row.answer for row in handovers.all_taught(tx)] == ["carnauba"]
        assert not situation_of(tx, business, now).open_handover


def test_care_and_facts_told_by_the_owner_are_written(
    database: Database, business: Business, ana: int, now: datetime
) -> None:
    with database.transaction(1) as tx:
        (boat,) = situation_of(tx, business, now).vessels
        care.mark_due(tx, boat.id, now + 30 * 24 * HOUR)
        assert care.due_vessels(tx, now) == ()
        converse(
            tx, business, now, "SM1",
            d.LogCare(boat.id, CareKind.HARSH_WASH, date(2027, 5, 3), Decimal("0.1"), "bleach", "hull"),
            d.NoteVessel(boat.id, "hin", "ABC12345D404"),
            d.NoteVessel(boat.id, "length_ft", "28.5"),
            d.SetLanguage("es"),
        )  # fmt: skip
        situation = situation_of(tx, business, now)
        assert situation.events[-1].substance == "bleach"
        assert (situation.vessels[0].hin, situation.vessels[0].length_ft) == ("ABC12345D404", Decimal("28.5"))
        assert care.due_vessels(tx, now) == ((boat.id, ana),)
        client = find_client(tx, ana)
        assert client is not None
        assert client.language == "es"
        with pytest.raises(ValueError, match="does not write life_factors"):
            converse(tx, business, now, "SM2", d.NoteVessel(boat.id, "life_factors", "k=9"))


def test_a_visit_is_booked_moved_and_called_off(
    database: Database, business: Business, ana: int, now: datetime
) -> None:
    slot, later = (Slot(1, now + days * 24 * HOUR, now + days * 24 * HOUR + HOUR) for days in (2, 3))
    with database.transaction(1) as tx:
        (boat,) = situation_of(tx, business, now).vessels
        converse(tx, business, now, "SM1", d.BookVisit(slot, "wash", (boat.id,), "Pelican Slough", Decimal("112.50")))
        (visit,) = situation_of(tx, business, now).visits
        assert (visit.begins, visit.vessel_ids, visit.price, visit.sequence) == (
            slot.begins, (boat.id,), Decimal("112.50"), 0,
        )  # fmt: skip
        outbox.enqueue(tx, outbox.Draft(1, "service", "reminder", "see you", "r1", now, visit_id=visit.id), now)
        converse(tx, business, now, "SM2", d.MoveVisit(visit.id, later))
        (moved,) = situation_of(tx, business, now).visits
        assert (moved.begins, moved.sequence, moved.uid) == (later.begins, 1, visit.uid)
        assert [text.why for text in outbox.texts_in(tx, "dropped")] == ["the visit was moved"]
        converse(tx, business, now, "SM3", d.CallOffVisit(visit.id, "sold"))
        (gone,) = situation_of(tx, business, now).visits
        assert (gone.state, gone.sequence) == (VisitState.CALLED_OFF, 2)
        assert tx.execute(select(occupied).where(ours(occupied))).all() == []


def test_an_offer_replaced_by_another_question_frees_what_it_held(
    database: Database, business: Business, ana: int, now: datetime
) -> None:
    slots = tuple(Slot(1, now + hours * HOUR, now + (hours + 2) * HOUR) for hours in (24, 25))
    held = select(holds).where(ours(holds))
    with database.transaction(1) as tx:
        offer = (d.HoldSlots(slots, now + HOUR), d.AskClient("offer", {}, now + HOUR))
        converse(tx, business, now, "SM1", *offer)
        assert len(tx.execute(held).all()) == 2
        converse(tx, business, now, "SM2", *reversed(offer))
        assert len(tx.execute(held).all()) == 2
        converse(tx, business, now, "SM3", d.AskClient("which_vessel", {}, now + HOUR))
        assert tx.execute(held).all() == []


def test_wishes_and_plans_are_kept(database: Database, business: Business, ana: int, now: datetime) -> None:
    wish = TimeWish(
        first=date(2027, 5, 10), days=(date(2027, 5, 12),), weekdays=frozenset({1, 3}), earliest=540,
        not_days=frozenset({date(2027, 5, 13)}), words="any tuesday",
    )  # fmt: skip
    with database.transaction(1) as tx:
        (boat,) = situation_of(tx, business, now).vessels
        converse(tx, business, now, "SM1", d.JoinWaitingList("wash", (boat.id,), wish))
        converse(tx, business, now, "SM2", d.JoinWaitingList("wash", (boat.id,), wish))
        (one,) = plans.waiting(tx)
        assert (one.wish, one.vessel_ids) == (wish, (boat.id,))
        converse(tx, business, now, "SM3", d.ChangePlan("active", (boat.id,), begins=date(2027, 6, 1)))
        states = situation_of(tx, business, now).plan_states
        assert states is not None
        (plan_id,) = states
        ((plan, boats),) = plans.active_plans(tx)
        assert (plan.begins_on, boats) == (date(2027, 6, 1), (boat.id,))
        converse(tx, business, now, "SM4", d.ChangePlan("paused", (), plan_id))
        assert situation_of(tx, business, now).plan_states == {plan_id: "paused"}
        converse(tx, business, now, "SM5", d.ChangePlan("finished", (), plan_id))
        assert situation_of(tx, business, now).plan_states == {}


def test_a_person_takes_the_thread_and_gives_it_back(
    database: Database, business: Business, ana: int, now: datetime
) -> None:
    with database.transaction(1) as tx:
        thread = situation_of(tx, business, now).thread_id
        threads.take_over(tx, thread, "Nola", now + HOUR)
        assert situation_of(tx, business, now).paused
        assert not situation_of(tx, business, now + HOUR).paused
        threads.give_back(tx, thread)
        assert not situation_of(tx, business, now).paused


def test_deleting_a_client_takes_everything_along(
    database: Database, business: Business, ana: int, now: datetime
) -> None:
    from sqlalchemy import delete

    from assistant.storage.tables import clients

    slot = Slot(1, now + 48 * HOUR, now + 49 * HOUR)
    with database.transaction(1) as tx:
        (boat,) = situation_of(tx, business, now).vessels
        converse(
            tx, business, now, "SM1", d.BookVisit(slot, "wash", (boat.id,), "", None), d.HandOver("x"),
            d.AskClient("y", {}, now + HOUR), d.LogCare(boat.id, CareKind.TOPPER, now.date()),
        )  # fmt: skip
    with database.transaction(1) as tx:
        tx.execute(delete(clients).where(ours(clients), clients.c.id == ana))
        assert tx.execute(select(occupied).where(ours(occupied))).all() == []
        assert tx.execute(select(next_due).where(ours(next_due))).all() == []
        assert visits.visits_of_client(tx, ana) == ()
