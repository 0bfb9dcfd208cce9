"""The business's own people by text: nothing changes without its code, answers reach the right client, once."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from itertools import count
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import func, select

from assistant.domain.conversation.situation import InboundMessage, Media
from assistant.domain.people import Application, Vessel
from assistant.domain.sms import measure
from assistant.domain.visits import Slot
from assistant.packaged import packaged
from assistant.storage import care, clients, handovers, messages, threads, visits
from assistant.storage.clients import NewClient
from assistant.storage.knowledge_files.reader import read_without_model
from assistant.storage.tables import applications, audit_log, busy_blocks, jobs, outbox, vessels
from assistant.storage.tables import messages as messages_table
from assistant.usecases.incoming import take_in
from assistant.usecases.send_due import send_due
from assistant.usecases.tell_crew import tell_crew
from tests.hand_made import hand_made

NOLA, INES, ANA, BERT = "+13055550101", "+13055550102", "+13055550111", "+12165550122"
_ids = count(1)


@pytest.fixture(scope="module")
def knowledge():
    return read_without_model(packaged("knowledge"))[0]


@pytest.fixture
def app(database, business, knowledge, tmp_path):
    return replace(hand_made(database, business, tmp_path), knowledge=knowledge)


@pytest.fixture
def boats(app, now):
    """Ana with Sea Thistle and Bert with Paper Moon."""
    with app.database.transaction(1) as tx:
        made = {}
        for name, phone, boat in (("Ana Reyes", ANA, "Sea Thistle"), ("Bert Olsen", BERT, "Paper Moon")):
            client = clients.add_client(tx, NewClient(name, phone, "en", "America/New_York", "US"), now)
            made[boat] = (client, care.add_vessel(tx, Vessel(0, client, boat, length_ft=Decimal(28)), now))
        return made


def text(app, words, now, sender=NOLA, **more):
    """One text and its reply."""
    message = InboundMessage(f"SM{next(_ids):032d}", sender, app.business.number, words, **more)
    (reply,) = take_in(app, message, now).replies
    return reply


def code_in(reply):
    return re.search(r"Text (\d{4}) to do it", reply)[1]


def rows(app, table, **where):
    with app.database.engine.connect() as connection:
        query = select(table).where(*(table.c[name] == value for name, value in where.items()))
        return connection.execute(query).all()


def hand_over(app, now, phone=ANA, question="Can I use vinegar on it?", **more):
    """A client's text that a person must answer."""
    with app.database.transaction(1) as tx:
        thread = threads.open_thread(tx, phone, "sms", now)
        message = InboundMessage(f"SM{next(_ids):032d}", phone, "", question)
        message_id = messages.keep_inbound(tx, thread, message, None, now)
        return handovers.open_handover(tx, thread, "unclear", now, message_id=message_id, **more)


def number_sent(app, now, to=NOLA):
    """The number under which the last question was put before one of us."""
    tell_crew(app, now)
    send_due(app, now)
    sent = [one.text for one in app.carrier.sent if one.to == to]
    return re.search(r"with (\d{3}):", sent[-1])[1]


# A finished job


def test_a_finished_job_is_read_back_and_recorded_once_its_code_comes(app, boats, now):
    reply = text(app, "done Sea Thistle, sealant hull and topsides, stored indoors from Oct", now)
    assert "Sea Thistle (Ana Reyes): polymer sealant on the hull and topsides, done Tue May 4." in reply
    assert "Kept indoors from Oct 1" in reply
    assert rows(app, applications) == []
    assert text(app, code_in(reply), now).startswith("Recorded on Sea Thistle. No care pack: no consent")
    client, vessel = boats["Sea Thistle"]
    found = {(row.surface, row.coating, row.applied_on) for row in rows(app, applications, vessel_id=vessel)}
    assert found == {("hull", "sealant", date(2027, 5, 4)), ("topsides", "sealant", date(2027, 5, 4))}
    (job,) = rows(app, jobs)
    assert (job.client_id, job.done_by, job.finished_at) == (client, "Nola", now)
    (boat,) = rows(app, vessels, id=vessel)
    assert (boat.kept, boat.kept_off_season, boat.season_from, boat.season_to) == (
        "in_water", "indoors", "05-01", "09-30",
    )  # fmt: skip
    assert [row.actor for row in rows(app, audit_log)] == ["Nola"]


def test_a_code_works_once(app, boats, now):
    code = code_in(text(app, "done Sea Thistle, sealant hull", now))
    text(app, code, now)
    assert "Nothing waits" in text(app, code, now)
    assert len(rows(app, jobs)) == 1


def test_a_repeated_delivery_of_the_code_records_nothing_twice(app, boats, now):
    code = code_in(text(app, "done Sea Thistle, sealant hull", now))
    message = InboundMessage("SM" + "f" * 32, NOLA, "", code)
    first, again = take_in(app, message, now), take_in(app, message, now)
    assert first.replies == again.replies
    assert again.repeated
    assert len(rows(app, jobs)) == 1


def test_a_forged_sender_cannot_guess_the_code(app, boats, now):
    code = code_in(text(app, "done Sea Thistle, sealant hull", now))
    guesses = [str(guess) for guess in range(1000, 1020) if str(guess) != code]
    for guess in guesses[:3]:
        text(app, guess, now)
    assert "Nothing waits" in text(app, code, now)
    for _ in range(5):
        fresh = code_in(text(app, "done Sea Thistle, sealant hull", now))
        text(app, guesses[0] if guesses[0] != fresh else guesses[1], now)
    assert "rest until tomorrow" in text(app, fresh, now)
    assert rows(app, jobs) == []
    later = now + timedelta(days=1, minutes=1)
    assert "Recorded" in text(app, code_in(text(app, "done Sea Thistle, sealant hull", later)), later)


def test_a_code_of_one_phone_does_nothing_from_another(app, boats, now):
    code = code_in(text(app, "done Sea Thistle, sealant hull", now))
    assert "Nothing waits" in text(app, code, now, sender=INES)
    assert rows(app, jobs) == []


def test_an_old_code_is_worth_nothing(app, boats, now):
    code = code_in(text(app, "done Sea Thistle, sealant hull", now))
    assert "Nothing waits" in text(app, code, now + timedelta(hours=3))


def test_a_client_who_writes_the_words_of_the_crew_is_a_client(app, boats, now):
    message = InboundMessage("SM" + "9" * 32, ANA, "", "block friday")
    take_in(app, message, now)
    assert rows(app, busy_blocks) == []


@pytest.mark.parametrize(
    ("words", "coats", "on"),
    [
        ("done paper moon sealant on hull, topper on the transom yesterday",
         {("sealant", "hull"), ("topper", "transom")}, date(2027, 5, 3)),
        ("Done Paper Mooon, ceramic hull", {("ceramic", "hull")}, date(2027, 5, 4)),
        ("finished Bert Olsen, wax hull and topsides, 4/30", {("wax", "hull"), ("wax", "topsides")}, date(2027, 4, 30)),
        ("listo Paper Moon, sellador en casco, ayer", {("sealant", "hull")}, date(2027, 5, 3)),
    ],
)  # fmt: skip
def test_jobs_are_read_in_plain_words(app, boats, now, words, coats, on):
    reply = text(app, words, now)
    text(app, code_in(reply), now)
    assert {(row.coating, row.surface) for row in rows(app, applications)} == coats
    (job,) = rows(app, jobs)
    assert job.done_on == on


def test_a_coating_without_a_surface_goes_where_it_went_last_time_or_is_asked_back(app, boats, now):
    assert "Where did the polymer sealant go" in text(app, "done Sea Thistle, sealant", now)
    with app.database.transaction(1) as tx:
        care.add_application(tx, Application(0, boats["Sea Thistle"][1], "transom", "sealant", date(2026, 5, 1)), now)
    assert "on the transom" in text(app, "done Sea Thistle, sealant", now)


def test_two_boats_of_one_name_are_told_apart_by_their_owners(app, boats, now):
    with app.database.transaction(1) as tx:
        care.add_vessel(tx, Vessel(0, boats["Paper Moon"][0], "Sea Thistle"), now)
    reply = text(app, "done Sea Thistle, sealant hull", now)
    assert "Sea Thistle (Ana Reyes) or Sea Thistle (Bert Olsen)" in reply
    assert "Sea Thistle (Bert Olsen): polymer" in text(app, "done Sea Thistle Olsen, sealant hull", now)


def test_the_visit_of_that_day_is_done_with_the_job(app, boats, now):
    client, vessel = boats["Sea Thistle"]
    with app.database.transaction(1) as tx:
        slot = Slot(1, now + timedelta(hours=1), now + timedelta(hours=3))
        visit = visits.book_visit(tx, client, slot, "wash", [vessel], app.business.zone, now)
    text(app, code_in(text(app, "done Sea Thistle, sealant hull, wash", now)), now)
    with app.database.reading(1) as tx:
        assert visits.find_visit(tx, visit).state == "done"
    (job,) = rows(app, jobs)
    assert (job.visit_id, job.service) == (visit, "wash")


# Questions handed over


def test_the_owner_of_the_business_is_told_and_answers_under_the_number(app, boats, now):
    hand_over(app, now)
    number = number_sent(app, now)
    told = app.carrier.sent[-1]
    assert (told.to, "Ana Reyes" in told.text, "vinegar" in told.text) == (NOLA, True, True)
    assert "On its way to Ana Reyes" in text(app, f"{number}: Rinse it and send me a photo", now)
    send_due(app, now)
    assert (app.carrier.sent[-1].to, app.carrier.sent[-1].text) == (ANA, "Rinse it and send me a photo")
    send_due(app, now)
    assert sum(one.to == ANA for one in app.carrier.sent) == 1


def test_several_questions_are_told_apart_by_their_numbers(app, boats, now):
    hand_over(app, now)
    first = number_sent(app, now)
    hand_over(app, now, BERT, "Is the cover on?")
    second = number_sent(app, now)
    assert first != second
    waiting = text(app, "open", now)
    assert f"{first} Ana Reyes" in waiting
    assert f"{second} Bert Olsen" in waiting
    text(app, f"{second} It is, all snug", now)
    send_due(app, now)
    assert app.carrier.sent[-1].to == BERT
    assert "Begin with its number" in text(app, "rinse it", now) or "To Ana Reyes" in text(app, "rinse it", now)


def test_an_answer_without_a_number_is_sent_only_once_confirmed(app, boats, now):
    hand_over(app, now)
    tell_crew(app, now)
    reply = text(app, "rinse it well", now)
    assert 'To Ana Reyes: "rinse it well"' in reply
    assert rows(app, outbox, kind="answer") == []
    text(app, code_in(reply), now)
    (answer,) = rows(app, outbox, kind="answer")
    assert (answer.text, answer.written_by) == ("rinse it well", "Nola")


def test_the_second_of_us_hears_that_it_was_answered(app, boats, now):
    hand_over(app, now, urgent=True)
    number = number_sent(app, now)
    assert number == number_sent(app, now, to=INES)
    text(app, f"{number}: rinse it", now)
    assert text(app, f"{number}: wax it", now, sender=INES) == "Nola has dealt with that for Ana Reyes: rinse it"
    assert len(rows(app, outbox, kind="answer")) == 1


def test_an_answer_gives_the_conversation_back(app, boats, now):
    hand_over(app, now)
    with app.database.transaction(1) as tx:
        threads.take_over(tx, threads.open_thread(tx, ANA, "sms", now), "Nola", now + timedelta(days=1))
    text(app, f"{number_sent(app, now)}: rinse it", now)
    with app.database.transaction(1) as tx:
        assert threads.read_thread(tx, threads.open_thread(tx, ANA, "sms", now)).paused_until is None


def test_whoever_opted_out_is_not_written_to(app, boats, now):
    hand_over(app, now)
    number = number_sent(app, now)
    with app.database.transaction(1) as tx:
        threads.opt_out(tx, threads.open_thread(tx, ANA, "sms", now), "STOP", None, now)
    assert "wants no texts" in text(app, f"{number}: rinse it", now)
    assert rows(app, outbox, kind="answer") == []


def test_an_answer_that_asks_for_a_carrier_word_is_refused(app, boats, now):
    hand_over(app, now)
    assert "carrier acts on" in text(app, f"{number_sent(app, now)}: reply YES if so", now)
    assert rows(app, outbox, kind="answer") == []


def test_numbers_cannot_be_guessed_without_end(app, boats, now):
    hand_over(app, now)
    number = number_sent(app, now)
    for guess in [n for n in range(100, 110) if str(n) != number][:6]:
        assert "No open question has number" in text(app, f"{guess}: drink it", now)
    assert "rest until tomorrow" in text(app, f"{number}: drink it", now)
    assert rows(app, outbox, kind="answer") == []


def test_at_night_only_what_is_urgent_wakes_anybody(app, boats, now):
    night = datetime(2027, 5, 5, 2, tzinfo=ZoneInfo("America/New_York")).astimezone(UTC)
    hand_over(app, night)
    hand_over(app, night, BERT, "I feel dizzy from the fumes", urgent=True)
    tell_crew(app, night)
    send_due(app, night)
    assert {one.to for one in app.carrier.sent} == {NOLA, INES, "+13055550103"}
    assert all("URGENT" in one.text for one in app.carrier.sent)
    send_due(app, datetime(2027, 5, 5, 8, tzinfo=ZoneInfo("America/New_York")).astimezone(UTC))
    assert "vinegar" in app.carrier.sent[-1].text


def test_each_of_us_is_told_once_and_never_of_a_text_to_ourselves(app, boats, now):
    hand_over(app, now)
    hand_over(app, now, NOLA, "a text to Nola that did not arrive")
    assert (tell_crew(app, now), tell_crew(app, now)) == (1, 0)
    assert len(rows(app, outbox)) == 1


def test_a_long_question_is_cut_to_three_parts(app, boats, now):
    hand_over(app, now, question="It is dull all over and I wonder " * 60)
    number_sent(app, now)
    assert measure(app.carrier.sent[-1].text).segments <= 3


def test_a_question_may_be_put_aside(app, boats, now):
    hand_over(app, now)
    assert "Put aside" in text(app, f"{number_sent(app, now)} close", now)
    assert rows(app, outbox, kind="answer") == []


# The day, the week, days off, conversations, clients, pictures


def test_today_lists_the_visits_of_the_business_day(app, boats, now):
    client, vessel = boats["Sea Thistle"]
    with app.database.transaction(1) as tx:
        for hours in (2, 26):
            slot = Slot(1, now + timedelta(hours=hours), now + timedelta(hours=hours + 1))
            visits.book_visit(tx, client, slot, "wash", [vessel], app.business.zone, now, place="Pelican Slough")
    assert text(app, "today", now) == "Tue May 4: 12:30 pm wash, Sea Thistle (Ana Reyes), Pelican Slough"
    week = text(app, "This week?", now)
    assert "Tue May 4 12:30 pm" in week
    assert "Wed May 5 12:30 pm" in week
    assert "No visits" in text(app, "friday", now)


def test_who_is_due_comes_soonest_first(app, boats, now):
    with app.database.transaction(1) as tx:
        for boat, on in (("Sea Thistle", date(2026, 11, 20)), ("Paper Moon", date(2026, 11, 10))):
            care.add_application(tx, Application(0, boats[boat][1], "hull", "sealant", on), now)
    reply = text(app, "who's due?", now)
    assert reply.index("Paper Moon") < reply.index("Sea Thistle")


def test_a_day_is_blocked_and_freed(app, boats, now):
    client, vessel = boats["Sea Thistle"]
    with app.database.transaction(1) as tx:
        slot = Slot(1, now + timedelta(days=3), now + timedelta(days=3, hours=1))
        visits.book_visit(tx, client, slot, "wash", [vessel], app.business.zone, now)
    reply = text(app, "block friday", now)
    assert "Fri May 7" in reply
    assert "1 booked already, and they stay: 10:30 am wash, Sea Thistle" in reply
    assert rows(app, busy_blocks) == []
    assert text(app, code_in(reply), now) == "Blocked: Fri May 7."
    (row,) = rows(app, busy_blocks)
    zone = ZoneInfo("America/New_York")
    assert (row.begins_at, row.ends_at) == (datetime(2027, 5, 7, tzinfo=zone), datetime(2027, 5, 8, tzinfo=zone))
    text(app, code_in(text(app, "unblock friday", now)), now)
    assert rows(app, busy_blocks) == []


def test_a_morning_is_blocked_alone(app, boats, now):
    text(app, code_in(text(app, "block friday morning", now)), now)
    (row,) = rows(app, busy_blocks)
    assert row.ends_at - row.begins_at == timedelta(hours=12)


def test_a_conversation_is_taken_and_given_back(app, boats, now):
    def paused():
        with app.database.transaction(1) as tx:
            return threads.read_thread(tx, threads.open_thread(tx, ANA, "sms", now)).paused_until

    text(app, code_in(text(app, "pause Ana", now)), now)
    assert paused() > now
    text(app, code_in(text(app, "give back Sea Thistle", now)), now)
    assert paused() is None


def test_a_client_is_added_with_a_boat(app, now):
    reply = text(app, "add client Chidi Obi 305 555 0133 Blue Ledger 24 ft, Cutter's Bight", now)
    assert "Chidi Obi, +13055550133, Blue Ledger, 24 ft, Cutter's Bight." in reply
    assert "only answer" in text(app, code_in(reply), now)
    with app.database.reading(1) as tx:
        client = clients.client_of_phone(tx, "+13055550133")
        (boat,) = next(care.fleets(tx, client.id)).vessels
        assert not threads.threads_of_client(tx, client.id)[0].consent.service
    assert (client.name, boat.name, boat.length_ft, boat.place) == (
        "Chidi Obi", "Blue Ledger", Decimal(24), "Cutter's Bight",
    )  # fmt: skip


def test_a_second_boat_joins_the_client_on_record(app, boats, now):
    text(app, code_in(text(app, "add client Ana 305 555 0111 Little Thistle 12 ft, agreed", now)), now)
    with app.database.reading(1) as tx:
        fleet = next(care.fleets(tx, boats["Sea Thistle"][0]))
        assert threads.threads_of_client(tx, fleet.client.id)[0].consent.service
    assert (fleet.client.name, [boat.name for boat in fleet.vessels]) == ("Ana Reyes", ["Sea Thistle", "Little Thistle"])


def test_pictures_are_kept_with_the_boat_named_or_asked_for(app, boats, now):
    media = (Media("https://api.twilio.com/x", "image/jpeg"),)
    assert text(app, "Sea Thistle before", now, media=media) == "Kept with Sea Thistle (Ana Reyes)."
    assert "Which boat" in text(app, "", now, media=media)
    assert text(app, "paper moon", now) == "Kept with Paper Moon (Bert Olsen)."
    with app.database.engine.connect() as connection:
        query = select(messages_table.c.remember).where(messages_table.c.media.is_not(None))
        kept = connection.execute(query.order_by(messages_table.c.id)).scalars().all()
    assert kept == [{"vessel_id": boats["Sea Thistle"][1]}, {"vessel_id": boats["Paper Moon"][1]}]


@pytest.mark.parametrize("words", ["help", "", "add client Ana", "done", "block", "417", "0", "{code}", "done " + "x" * 3000])
def test_whatever_is_texted_gets_a_short_answer_and_changes_nothing(app, boats, now, words):
    reply = text(app, words, now)
    assert 0 < measure(reply).segments <= 6
    assert rows(app, outbox) == []


def test_a_fault_is_apologised_for_and_nothing_is_half_done(app, boats, now, monkeypatch):
    broken = replace(app, knowledge=replace(app.knowledge, coatings=None))
    assert "nothing was changed" in text(broken, "done Sea Thistle, sealant hull", now)
    assert rows(app, jobs) == []


def test_a_member_may_opt_out_like_anybody(app, now):
    take_in(app, InboundMessage("SM" + "8" * 32, NOLA, "", "STOP", carrier_keyword="STOP"), now)
    with app.database.engine.connect() as connection:
        assert connection.execute(select(func.count()).select_from(messages_table)).scalar() == 1
