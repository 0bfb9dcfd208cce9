"""A carrier that prints: for a first try without an account. Nothing leaves the machine."""

from __future__ import annotations

import sys
from dataclasses import dataclass, field
from datetime import datetime
from typing import TextIO

from assistant.carriers.carrier import OutgoingText, Receipt


@dataclass(slots=True)
class ScreenCarrier:
    """Writes every text to `stream` (standard output by default)."""

    stream: TextIO = field(default_factory=lambda: sys.stdout)
    _count: int = 0

    def send(self, text: OutgoingText) -> Receipt:
        """Print the text with its receiver."""
        self._count += 1
        print(f"[to {text.to}] {text.text}", file=self.stream, flush=True)
        return Receipt(sid=f"screen-{self._count}", status="sent")

    def find(self, text: OutgoingText, since: datetime) -> Receipt | None:
        """Printing is never uncertain, so nobody needs to look."""
        return None
