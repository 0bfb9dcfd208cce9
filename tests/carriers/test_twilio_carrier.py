"""Twilio's answers and failures, met over a real connection to a small Twilio of our own."""

from __future__ import annotations

import socket
import ssl
from datetime import UTC, datetime, timedelta

import pytest
import requests
import urllib3.exceptions

from assistant.carriers.carrier import OutgoingText
from assistant.carriers.twilio_carrier import TwilioCarrier, _never_reached
from assistant.domain.errors import CarrierBusy, CarrierRefused, CarrierUnknown
from tests.carriers.loopback import LoopbackClient, fake_twilio

SENDER = "+13055550100"
SERVICE = "MG" + "0" * 32
REAL_LOOKING = "+12025559876"
TEXT = OutgoingText(REAL_LOOKING, "Your next topper is about due.")


@pytest.fixture(scope="module")
def server():
    with fake_twilio() as fake:
        yield fake


@pytest.fixture
def twilio(server):
    server.mood = "well"
    server.forms.clear()
    server.messages.clear()
    return server


def carrier(twilio, sender=SENDER, callback="https://boats.example/sms/receipts", timeout=5.0):
    http = LoopbackClient(twilio.url, timeout)
    return TwilioCarrier("AC" + "0" * 32, "token", sender, callback, http_client=http)


def test_a_text_is_handed_over_with_sender_callback_and_validity(twilio):
    receipt = carrier(twilio).send(OutgoingText(REAL_LOOKING, "Hi", valid_seconds=900))
    assert receipt.sid == twilio.messages[0]["sid"]
    assert receipt.status == "queued"
    assert twilio.forms == [{
        "To": REAL_LOOKING, "From": SENDER, "Body": "Hi", "ValidityPeriod": "900",
        "StatusCallback": "https://boats.example/sms/receipts",
    }]  # fmt: skip


def test_a_messaging_service_sends_in_place_of_a_number(twilio):
    assert carrier(twilio, sender=SERVICE).send(TEXT).status == "accepted"
    assert twilio.forms[0]["MessagingServiceSid"] == SERVICE
    assert "From" not in twilio.forms[0]


def test_the_channel_stands_before_both_numbers(twilio):
    carrier(twilio).send(OutgoingText(REAL_LOOKING, "Hi", channel="whatsapp"))
    assert (twilio.forms[0]["To"], twilio.forms[0]["From"]) == ("whatsapp:" + REAL_LOOKING, "whatsapp:" + SENDER)


@pytest.mark.parametrize(("asked", "given"), [(0, "1"), (-5, "1"), (36_000, "36000"), (90_000, "36000")])
def test_validity_stays_in_the_carriers_limits(twilio, asked, given):
    carrier(twilio).send(OutgoingText(REAL_LOOKING, "Hi", valid_seconds=asked))
    assert twilio.forms[0]["ValidityPeriod"] == given


def test_a_number_of_fiction_is_refused_before_any_connection(twilio):
    with pytest.raises(CarrierRefused, match="fiction"):
        carrier(twilio).send(OutgoingText("+13055550111", "Hi"))
    assert twilio.forms == []


@pytest.mark.parametrize("code", [21211, 21610, 21614, 21408, 21617])
def test_a_no_is_final_and_keeps_its_code(twilio, code):
    twilio.mood = (400, code)
    with pytest.raises(CarrierRefused) as refusal:
        carrier(twilio).send(TEXT)
    assert refusal.value.code == code


@pytest.mark.parametrize("answer", [(429, 20429), (400, 21611), (401, 20003), (403, 20003)])
def test_what_was_surely_not_sent_may_be_tried_again(twilio, answer):
    twilio.mood = answer
    with pytest.raises(CarrierBusy):
        carrier(twilio).send(TEXT)


def test_a_refused_connection_was_not_sent(twilio):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        twilio_gone = type("Gone", (), {"url": f"http://127.0.0.1:{free.getsockname()[1]}"})
        with pytest.raises(CarrierBusy):
            carrier(twilio_gone).send(TEXT)


@pytest.mark.parametrize("mood", [(500, 20500), (503, 20503), "drop", "drop_after", "html"])
def test_a_lost_answer_is_unknown(twilio, mood):
    twilio.mood = mood
    with pytest.raises(CarrierUnknown):
        carrier(twilio).send(TEXT)
    assert len(twilio.forms) == 1, "the library must not try again by itself"


def test_a_slow_answer_is_unknown(twilio):
    twilio.mood = "slow"
    with pytest.raises(CarrierUnknown):
        carrier(twilio, timeout=0.3).send(TEXT)


def test_a_text_whose_answer_was_lost_is_found_in_the_list(twilio):
    twilio.mood = "drop_after"
    before = datetime.now(UTC)
    with pytest.raises(CarrierUnknown):
        carrier(twilio).send(TEXT)
    found = carrier(twilio).find(TEXT, before)
    assert found is not None
    assert found.sid == twilio.messages[0]["sid"]


def test_a_text_that_never_arrived_is_not_found(twilio):
    twilio.mood = "drop"
    with pytest.raises(CarrierUnknown):
        carrier(twilio).send(TEXT)
    assert carrier(twilio).find(TEXT, datetime.now(UTC)) is None


def test_an_older_equal_text_is_not_taken_for_this_one(twilio):
    carrier(twilio).send(TEXT)
    assert carrier(twilio).find(TEXT, datetime.now(UTC) + timedelta(hours=1)) is None


def test_the_words_of_a_trial_account_in_front_do_not_hide_a_text(twilio):
    carrier(twilio).send(OutgoingText(REAL_LOOKING, "Sent from a trial account - " + TEXT.text))
    assert carrier(twilio).find(TEXT, datetime.now(UTC)) is not None


def _as_requests_wraps(reason):
    return requests.ConnectionError(urllib3.exceptions.MaxRetryError(None, "/", reason))


@pytest.mark.parametrize(
    ("error", "never"),
    [
        (_as_requests_wraps(urllib3.exceptions.SSLError(ssl.SSLCertVerificationError(1, "expired"))), True),
        (_as_requests_wraps(urllib3.exceptions.ConnectTimeoutError(None, "slow")), True),
        (_as_requests_wraps(urllib3.exceptions.SSLError(ssl.SSLEOFError(8, "eof"))), False),
        (requests.ReadTimeout(urllib3.exceptions.ReadTimeoutError(None, "/", "slow")), False),
        (requests.ConnectionError(urllib3.exceptions.ProtocolError("aborted", ConnectionResetError(104, ""))), False),
    ],
)
def test_only_a_connection_never_made_counts_as_not_reached(error, never):
    assert _never_reached(error) is never


def test_pictures_go_along_by_their_addresses(twilio):
    carrier(twilio).send(OutgoingText(REAL_LOOKING, "Before and after", media_urls=("https://boats.example/p/1.jpg",)))
    assert twilio.forms[0]["MediaUrl"] == "https://boats.example/p/1.jpg"
