"""Where an inbound text belongs: to the business's own people, or to the conversation with a client."""

from __future__ import annotations

from datetime import datetime

from assistant.assembly import Assistant
from assistant.domain.business import Business, CrewMember
from assistant.domain.conversation.situation import InboundMessage
from assistant.domain.understanding.consent import keyword
from assistant.domain.understanding.reading import Keyword
from assistant.usecases import converse, crew_texts
from assistant.usecases.converse import Outcome


def take_in(app: Assistant, message: InboundMessage, now: datetime) -> Outcome:
    """Take in one text and return the replies to it. Safe to call again with the same message.

    Whoever opts out does so for their number, be they client or crew; so does whoever the carrier read that way.
    """
    member = crew_member(app.business, message.sender)
    if member is None or message.carrier_keyword or keyword(message.text) is Keyword.OPT_OUT:
        return converse.receive(app, message, now)
    return crew_texts.receive(app, member, message, now)


def crew_member(business: Business, phone: str) -> CrewMember | None:
    """Whose phone it is among the business's own people."""
    return next((member for member in business.crew if member.phone == phone), None)
