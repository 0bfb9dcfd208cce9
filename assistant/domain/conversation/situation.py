"""Everything known when a text arrives: read whole from storage before anything is decided."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from assistant.domain.business import Business
from assistant.domain.people import Application, CareEvent, Client, Consent, Vessel
from assistant.domain.visits import Visit


@dataclass(frozen=True, slots=True)
class Media:
    """A picture or file that came with a text, as the carrier announced it."""

    url: str
    content_type: str


@dataclass(frozen=True, slots=True)
class InboundMessage:
    """One text as it reached a door. `sid` is the carrier's id (or the door's own); `sender` an E.164 number."""

    sid: str
    sender: str
    to: str
    text: str
    media: tuple[Media, ...] = ()
    channel: str = "sms"
    carrier_keyword: str = ""
    """STOP, START or HELP when the carrier has read the text as that, whatever its words, and answered it itself."""


@dataclass(frozen=True, slots=True)
class OpenQuestion:
    """What we asked the client and still wait for. `kind` names who can read the answer; `data` is JSON-able."""

    id: int
    kind: str
    data: Mapping[str, Any]
    asked_at: datetime
    expires_at: datetime


@dataclass(frozen=True, slots=True)
class Turn:
    """One earlier message of the thread. `data` holds what follow-ups need (topic, substances, surfaces...)."""

    at: datetime
    inbound: bool
    text: str
    topic: str = ""
    data: Mapping[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class Situation:
    """The whole picture for one sender. `client` is None for a number we do not know."""

    business: Business
    sender: str
    client: Client | None
    consent: Consent
    vessels: tuple[Vessel, ...] = ()
    applications: tuple[Application, ...] = ()
    events: tuple[CareEvent, ...] = ()
    visits: tuple[Visit, ...] = ()
    """Upcoming visits and the latest past ones of this client, by time."""
    question: OpenQuestion | None = None
    turns: tuple[Turn, ...] = ()
    """The last messages of the thread, oldest first."""
    open_handover: bool = False
    paused: bool = False
    """A person of the business has taken the thread; the assistant stays quiet but for safety and opt-out."""
    not_understood: int = 0
    """How many texts in a row were not understood."""
    plan_states: Mapping[int, str] | None = None
    """Wash-and-topper plans of this client: plan id -> active, paused."""
    card_url: str = ""
    media: tuple[Media, ...] = ()
    thread_id: int = 0
    """Where storage keeps this thread; 0 for one that has no record yet. Means nothing to a decision."""
