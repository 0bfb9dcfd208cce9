"""Booking by text: which topics lead here, and which questions of ours are answered here."""

from __future__ import annotations

from collections.abc import Callable

from assistant.domain.conversation import booking_offer
from assistant.domain.conversation.scene import Piece, Scene
from assistant.domain.people import Vessel
from assistant.domain.slots import Diary
from assistant.domain.understanding.reading import Ask, Reading
from assistant.domain.visits import Slot

HANDLERS: dict[str, Callable[[Ask, Scene, Vessel | None, Diary | None], Piece]] = {
    "book_visit": booking_offer.book_visit,
}
QUESTIONS: dict[str, Callable[[Reading, Scene, Diary | None, Slot | None], Piece | None]] = {
    "pick_slot": booking_offer.pick_slot,
}
