"""The carrier's door: only signed requests enter, every delivery has one effect, and the answer is TwiML."""

from __future__ import annotations

import threading
import xml.etree.ElementTree as ET
from concurrent.futures import ThreadPoolExecutor
from urllib.parse import urlencode

import pytest
from sqlalchemy import func, select
from sqlalchemy.exc import OperationalError

from assistant.domain.conversation.decision import BookVisit, Decision
from assistant.domain.visits import Slot
from assistant.doors.web import create_app
from assistant.storage import clients
from assistant.storage.tables import handovers, messages, outbox, receipts, threads, visits
from tests.hand_made import ACCOUNT, hand_made, inbound_form, post, signature


def count(database, table):
    with database.engine.connect() as connection:
        return connection.execute(select(func.count()).select_from(table)).scalar()


def replies(response):
    assert response.status_code == 200
    assert response.mimetype == "text/xml"
    root = ET.fromstring(response.data)
    assert root.tag == "Response"
    return [message.text for message in root.iter("Message")]


def test_a_signed_text_is_answered_and_kept(web, database):
    assert replies(post(web, inbound_form(Body="Hi <Nola> & crew"))) == ["Hi <Nola> & crew"]
    assert count(database, messages) == 1


def test_each_reply_is_a_message_of_its_own(web):
    assert replies(post(web, inbound_form(Body="one\ntwo"))) == ["one", "two"]


def test_no_reply_is_an_empty_response(web):
    response = post(web, inbound_form(Body=""))
    assert replies(response) == []
    assert response.text == '<?xml version="1.0" encoding="UTF-8"?><Response />'


@pytest.mark.parametrize(
    "spoil",
    [
        lambda form, headers: headers.clear(),
        lambda form, headers: headers.update({"X-Twilio-Signature": ""}),
        lambda form, headers: headers.update({"X-Twilio-Signature": signature(form, token="another")}),
        lambda form, headers: headers.update({"X-Twilio-Signature": signature(form, public="https://evil.example")}),
        lambda form, headers: headers.update({"X-Twilio-Signature": "é" * 28}),
        lambda form, headers: form.update({"Body": "changed on the way"}),
        lambda form, headers: form.update({"Extra": "1"}),
        lambda form, headers: form.pop("ToZip"),
    ],
)
def test_a_forged_or_unsigned_request_is_refused_and_nothing_is_kept(web, database, spoil):
    form = inbound_form()
    headers = {"X-Twilio-Signature": signature(form)}
    spoil(form, headers)
    response = web.post("/sms/inbound", data=form, headers=headers)
    assert response.status_code == 403
    assert count(database, messages) == 0
    assert count(database, threads) == 0


def test_a_rightly_signed_request_of_another_account_is_refused(web, database):
    assert post(web, inbound_form(AccountSid="AC" + "9" * 32)).status_code == 403
    assert count(database, messages) == 0


def test_without_a_token_nobody_can_sign(database, business, tmp_path):
    from dataclasses import replace

    assistant = hand_made(database, business, tmp_path)
    assistant = replace(assistant, settings=replace(assistant.settings, auth_token=""))
    assert post(create_app(assistant).test_client(), inbound_form(), token="").status_code == 403


def test_unknown_and_repeated_fields_are_signed_and_accepted(web):
    pairs = [*inbound_form(Body="fine").items(), ("Surprise", "2"), ("Surprise", "1"), ("Surprise", "2")]
    from werkzeug.datastructures import MultiDict

    response = web.post(
        "/sms/inbound",
        data=urlencode(pairs),
        content_type="application/x-www-form-urlencoded",
        headers={"X-Twilio-Signature": signature(MultiDict(pairs))},
    )
    assert replies(response) == ["fine"]


def test_spaces_accents_and_emoji_of_a_text_survive(web):
    text = " ¿Qué jabón? 🚤 + 50% "
    assert replies(post(web, inbound_form(Body=text))) == [text]


def test_control_characters_never_reach_the_answer_or_the_database(web, database):
    assert replies(post(web, inbound_form(Body="a\x00b\x01c\x1f\ufffed"))) == ["abcd"]
    with database.engine.connect() as connection:
        assert connection.execute(select(messages.c.text)).scalar() == "abcd"


def test_a_repeated_delivery_gets_the_first_answer_and_has_no_second_effect(web, database):
    form = inbound_form(Body="get me a person")
    first = post(web, form)
    again = post(web, {**form, "ErrorCode": "11200", "ErrorUrl": "https://texts.example.com/boats/sms/inbound"})
    assert first.data == again.data
    assert count(database, messages) == 1
    assert count(database, handovers) == 1


def test_fifty_equal_posts_at_once_have_one_effect_and_one_answer(database, business, tmp_path, now):
    """Each of them tries to book the same time."""
    with database.transaction(business.id) as tx:
        clients.add_client(
            tx, clients.NewClient("Ana Reyes", "+13055550111", "en", "America/New_York", "US"), now
        )

    def book(reading, situation, knowledge, diary, now, lost=None):
        slot = Slot(1, now.replace(hour=15, minute=0), now.replace(hour=17, minute=0))
        return Decision(("Booked.",), (BookVisit(slot, "wash", (), "Pelican Slough", None),), topic="book_visit")

    app = create_app(hand_made(database, business, tmp_path, decide=book), now=lambda: now)
    form, gate = inbound_form(Body="book it"), threading.Barrier(10)

    def deliver(_):
        gate.wait()
        return post(app.test_client(), form).text

    with ThreadPoolExecutor(10) as pool:
        answers = list(pool.map(deliver, range(50)))
    assert len(answers) == 50
    assert set(answers) == {answers[0]}
    assert "Booked." in answers[0]
    assert count(database, messages) == 1
    assert count(database, visits) == 1


def test_different_texts_of_one_client_at_once_are_all_kept(web, database):
    forms = [inbound_form(MessageSid=f"SM{number:032d}", Body=f"text {number}") for number in range(20)]
    with ThreadPoolExecutor(10) as pool:
        answers = list(pool.map(lambda form: replies(post(web.application.test_client(), form)), forms))
    assert answers == [[f"text {number}"] for number in range(20)]
    assert count(database, messages) == 20
    assert count(database, threads) == 1


def test_a_prefix_names_the_channel(web, database):
    post(web, inbound_form(From="whatsapp:+13055550111", To="whatsapp:+13055550100"))
    with database.engine.connect() as connection:
        row = connection.execute(select(threads.c.phone, threads.c.channel)).one()
    assert tuple(row) == ("+13055550111", "whatsapp")


def test_what_the_carrier_read_as_a_keyword_is_one_and_the_words_are_kept(web, database):
    """The reading stands for itself here: it echoes what was read."""
    assert replies(post(web, inbound_form(Body="Basta ya", OptOutType="STOP"))) == ["STOP"]
    with database.engine.connect() as connection:
        assert connection.execute(select(messages.c.text)).scalar() == "Basta ya"


def test_a_fault_below_is_an_error_to_the_carrier_so_that_it_comes_again(web, monkeypatch):
    def away(*_):
        raise OperationalError("SELECT 1", {}, Exception("the database is away"))

    monkeypatch.setattr("assistant.doors.webhook.take_in", away)
    assert post(web, inbound_form()).status_code == 500


def test_pictures_are_noted_and_a_wrong_count_is_harmless(web, database):
    form = inbound_form(
        NumMedia="2", MediaUrl0="https://api.twilio.com/a", MediaContentType0="image/jpeg", MediaUrl1=""
    )
    assert post(web, form).status_code == 200
    assert post(web, inbound_form(MessageSid="SM2", NumMedia="many")).status_code == 200
    with database.engine.connect() as connection:
        kept = connection.execute(select(messages.c.media).order_by(messages.c.id)).scalars().all()
    assert kept == [[{"url": "https://api.twilio.com/a", "content_type": "image/jpeg"}], None]


def test_machines_are_heard_but_not_answered(web, database):
    for number, sender in enumerate(["22395", "FLEETALERT", "+1234"]):
        assert replies(post(web, inbound_form(MessageSid=f"SM{number}", From=sender))) == []
    assert count(database, messages) == 3


@pytest.mark.parametrize("lacking", ["MessageSid", "From"])
def test_a_text_without_id_or_sender_is_nobodys(web, database, lacking):
    assert post(web, inbound_form(**{lacking: ""})).status_code == 400
    assert count(database, messages) == 0


def test_an_enormous_request_is_refused_before_it_is_read(web, database):
    assert post(web, inbound_form(Body="x" * 100_000)).status_code == 413
    assert count(database, messages) == 0


def test_the_address_answers_post_only(web):
    assert web.get("/sms/inbound").status_code == 405


def test_a_receipt_moves_a_text_on_but_never_back(web, database, business, now):
    from assistant.storage import outbox as box
    from assistant.storage.threads import open_thread

    with database.transaction(business.id) as tx:
        thread = open_thread(tx, "+13055550111", "sms", now)
        text = box.enqueue(tx, box.Draft(thread, "service", "care_pack", "Hi", "k", now), now)
        box.begin_sending(tx, text, "w", now)
        box.mark_sent(tx, text, "SMout", now)
    for status in ("delivered", "sent", "delivered"):
        form = {"MessageSid": "SMout", "MessageStatus": status, "AccountSid": ACCOUNT, "SmsSid": "SMout",
                "RawDlrDoneDate": "2705041430"}  # fmt: skip
        assert replies(post(web, form, "/sms/receipts")) == []
    with database.engine.connect() as connection:
        assert connection.execute(select(outbox.c.state)).scalar() == "delivered"
    assert count(database, receipts) == 2


def test_a_receipt_for_a_text_that_is_not_ours_is_taken_calmly(web):
    form = {"MessageSid": "SMnot", "MessageStatus": "undelivered", "ErrorCode": "30003", "AccountSid": ACCOUNT}
    assert post(web, form, "/sms/receipts").status_code == 200


def test_a_forged_receipt_is_refused(web, database):
    form = {"MessageSid": "SMout", "MessageStatus": "failed", "AccountSid": ACCOUNT}
    assert web.post("/sms/receipts", data=form).status_code == 403
    assert count(database, receipts) == 0


def test_health_says_whether_the_database_answers(web):
    assert web.get("/health").json == {"ok": True}
