"""An assistant with hand-written parts in the place of understanding and conversation, and signed requests to it."""

from __future__ import annotations

from pathlib import Path

from twilio.request_validator import RequestValidator

from assistant.assembly import Assistant
from assistant.carriers.memory import MemoryCarrier
from assistant.domain.conversation.decision import Decision, HandOver
from assistant.domain.knowledge import Knowledge
from assistant.domain.understanding.reading import Reading
from assistant.settings import Settings

ACCOUNT = "AC" + "1" * 32
TOKEN = "a token for tests"
PUBLIC = "https://texts.example.com/boats"
NO_KNOWLEDGE = Knowledge("", {}, {}, {}, (), {}, {}, {}, {}, {})


def echo(reading, situation, knowledge, diary, now, lost=None):
    """Answer with the text itself, in as many messages as it has lines; "person" opens a handover."""
    text = reading.evidence
    changes = (HandOver("asked_for"),) if "person" in text else ()
    return Decision(replies=tuple(line for line in text.split("\n") if line), changes=changes, topic="echo")


def hand_made(database, business, home: Path, decide=echo, carrier=None) -> Assistant:
    """The reading carries the text itself in `evidence`."""
    settings = Settings(
        home=home,
        database_url=database.engine.url.render_as_string(hide_password=False),
        public_url=PUBLIC,
        account_sid=ACCOUNT,
        auth_token=TOKEN,
        sender=business.number,
    )
    return Assistant(
        settings=settings,
        database=database,
        business=business,
        knowledge=NO_KNOWLEDGE,
        carrier=carrier or MemoryCarrier(),
        read=lambda text, situation, knowledge: Reading("en", evidence=text),
        needs_diary=lambda reading, situation: False,
        decide=decide,
    )


def inbound_form(**fields: str) -> dict[str, str]:
    """A form as the carrier posts it for an inbound text, with what it sends besides."""
    sid = fields.get("MessageSid", "SM" + "0" * 31 + "1")
    return {
        "ToCountry": "US", "ToState": "FL", "SmsMessageSid": sid, "NumMedia": "0", "ToCity": "", "FromZip": "33101",
        "SmsSid": sid, "FromState": "FL", "SmsStatus": "received", "FromCity": "MIAMI", "Body": "Hi there",
        "FromCountry": "US", "To": "+13055550100", "ToZip": "", "NumSegments": "1", "MessageSid": sid,
        "AccountSid": ACCOUNT, "From": "+13055550111", "ApiVersion": "2010-04-01", **fields,
    }  # fmt: skip


def signature(form, path: str = "/sms/inbound", public: str = PUBLIC, token: str = TOKEN) -> str:
    """The header the carrier's own library computes."""
    return str(RequestValidator(token).compute_signature(public + path, form))


def post(client, form, path: str = "/sms/inbound", **how: str):
    """A signed request, through Flask's test client."""
    return client.post(path, data=form, headers={"X-Twilio-Signature": signature(form, path, **how)})
