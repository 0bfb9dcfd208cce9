"""A carrier that keeps what it is given: for rehearsals, stories and tests."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from assistant.carriers.carrier import OutgoingText, Receipt


@dataclass(slots=True)
class MemoryCarrier:
    """Every text "leaves" into `sent`, in order."""

    sent: list[OutgoingText] = field(default_factory=list)

    def send(self, text: OutgoingText) -> Receipt:
        """Keep the text; the id is its place in the list."""
        self.sent.append(text)
        return Receipt(sid=f"memory-{len(self.sent)}", status="sent")

    def find(self, text: OutgoingText, since: datetime) -> Receipt | None:
        """The receipt of the last equal text, whenever it was given."""
        for place in range(len(self.sent), 0, -1):
            if (self.sent[place - 1].to, self.sent[place - 1].text) == (text.to, text.text):
                return Receipt(sid=f"memory-{place}", status="sent")
        return None
