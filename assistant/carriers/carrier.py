"""What the use cases ask of a carrier, whichever it is."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

LONGEST_WAIT_SECONDS = 36_000
"""How long a carrier may keep a text in its queue at most (ten hours)."""


@dataclass(frozen=True, slots=True)
class OutgoingText:
    """One text that we begin ourselves. `to` is an E.164 number, `channel` sms or whatsapp.

    `valid_seconds` is how long the carrier may hold it back: a text queued before the quiet hours must not leave in
    them.
    """

    to: str
    text: str
    channel: str = "sms"
    valid_seconds: int = LONGEST_WAIT_SECONDS
    media_urls: tuple[str, ...] = ()
    """Addresses of pictures that the carrier fetches; they must be public."""


@dataclass(frozen=True, slots=True)
class Receipt:
    """The carrier's word for a text it took: its id and the first status (queued, accepted, sent ...)."""

    sid: str
    status: str


class Carrier(Protocol):
    """Sends texts. Raises CarrierRefused (never again), CarrierBusy (not sent, later), CarrierUnknown (who knows)."""

    def send(self, text: OutgoingText) -> Receipt:
        """Hand one text over, once. Never retries by itself."""

    def find(self, text: OutgoingText, since: datetime) -> Receipt | None:
        """The receipt of this very text if the carrier has taken it since then: settles what `send` left unknown."""
