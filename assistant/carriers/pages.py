"""Texts for the web chat: they leave by being kept in their thread, where the page shows them; all others are sent."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from assistant.carriers.carrier import Carrier, OutgoingText, Receipt

WEB = "web"
"""Channel of the web chat."""


@dataclass(frozen=True, slots=True)
class WithPages:
    """A carrier beside the pages."""

    carrier: Carrier

    def send(self, text: OutgoingText) -> Receipt:
        """Hand one text over, unless it is for a page."""
        return Receipt("page", "delivered") if text.channel == WEB else self.carrier.send(text)

    def find(self, text: OutgoingText, since: datetime) -> Receipt | None:
        """What is for a page always arrives."""
        return Receipt("page", "delivered") if text.channel == WEB else self.carrier.find(text, since)
