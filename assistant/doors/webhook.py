"""The carrier's door: inbound texts and delivery receipts, each proven to come from the carrier before it is read.

A signature is checked over the address the carrier was given (AFTERCARE_PUBLIC_URL and the path), never over the
address this process sees behind a proxy, and over every field as received, known or not.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Callable, Iterable
from datetime import datetime

from flask import Blueprint, Response, abort, request
from twilio.request_validator import RequestValidator
from twilio.twiml.messaging_response import MessagingResponse
from werkzeug.datastructures import MultiDict

from assistant.assembly import Assistant
from assistant.domain.conversation.situation import InboundMessage, Media
from assistant.domain.sms import clean
from assistant.usecases.incoming import take_in
from assistant.usecases.receipts import note_status

log = logging.getLogger(__name__)

LONGEST_TEXT = 4096
"""Characters of one text that are read: more than any channel carries."""

MOST_MEDIA = 10

_PHONE = re.compile(r"\+[1-9]\d{6,14}")


def sms_routes(assistant: Assistant, now: Callable[[], datetime]) -> Blueprint:
    """`POST /sms/inbound` and `POST /sms/receipts`."""
    routes = Blueprint("sms", __name__, url_prefix="/sms")
    settings = assistant.settings
    validator = RequestValidator(settings.auth_token)

    @routes.before_request
    def only_from_the_carrier() -> None:
        """403 for everything that the carrier did not sign for this account; nothing of it is kept."""
        signature = request.headers.get("X-Twilio-Signature", "")
        signed = bool(settings.auth_token) and validator.validate(
            settings.public_url + request.path, request.form, signature
        )
        if not signed or request.form.get("AccountSid") != settings.account_sid:
            log.warning(
                "refused a request to %s that is not signed for this account: if it came from the carrier, compare "
                "AFTERCARE_PUBLIC_URL and TWILIO_AUTH_TOKEN with the carrier's console", request.path
            )
            abort(403)

    @routes.post("/inbound")
    def inbound() -> Response:
        """One text from a client or from our own people. A repeated delivery gets the first answer again."""
        message = _inbound_message(request.form)
        outcome = take_in(assistant, message, now())
        # Short codes and sender names are machines: what they write is kept, but answering would start a loop.
        return _answer(outcome.replies if _PHONE.fullmatch(message.sender) else ())

    @routes.post("/receipts")
    def receipts() -> Response:
        """One delivery status. They come late, twice or out of order; the use case ranks them."""
        sid, status = _needed(request.form, "MessageSid"), _needed(request.form, "MessageStatus")
        code = request.form.get("ErrorCode", "")
        note_status(assistant, sid, status, int(code) if code.isdecimal() else None, now())
        return _answer(())

    return routes


def _answer(replies: Iterable[str]) -> Response:
    """TwiML with one message a reply; an empty `<Response/>` says nothing to the client."""
    twiml = MessagingResponse()
    for reply in replies:
        twiml.message(clean(reply))
    return Response(str(twiml), content_type="text/xml; charset=utf-8")


def _inbound_message(form: MultiDict[str, str]) -> InboundMessage:
    """The carrier's form as a value. A form without id or sender is nobody's text: 400."""
    channel, sender = _channel_and_number(_needed(form, "From"))
    return InboundMessage(
        sid=_needed(form, "MessageSid"),
        sender=sender,
        to=form.get("MessagingServiceSid") or _channel_and_number(form.get("To", ""))[1],
        text=clean(form.get("Body", ""))[:LONGEST_TEXT],
        media=_media(form),
        channel=channel,
        carrier_keyword=clean(form.get("OptOutType", "")),
    )


def _media(form: MultiDict[str, str]) -> tuple[Media, ...]:
    """What was announced with the text; nothing is fetched here."""
    announced = form.get("NumMedia", "0")
    count = min(int(announced), MOST_MEDIA) if announced.isdecimal() else 0
    pairs = [(form.get(f"MediaUrl{i}", ""), form.get(f"MediaContentType{i}", "")) for i in range(count)]
    return tuple(Media(url=clean(url), content_type=clean(kind)) for url, kind in pairs if url)


def _channel_and_number(address: str) -> tuple[str, str]:
    """`whatsapp:+1305...` is a channel and a number; a bare number is SMS."""
    channel, _, number = clean(address).strip().rpartition(":")
    return channel or "sms", number


def _needed(form: MultiDict[str, str], name: str) -> str:
    """A field without which the request means nothing."""
    value = clean(form.get(name, ""))
    if not value:
        abort(400, f"{name} is missing")
    return value
