"""Booking by text."""

from __future__ import annotations

from collections.abc import Callable

from assistant.domain.conversation.scene import Piece, Scene
from assistant.domain.people import Vessel
from assistant.domain.slots import Diary
from assistant.domain.understanding.reading import Ask, Reading
from assistant.domain.visits import Slot

HANDLERS: dict[str, Callable[[Ask, Scene, Vessel | None, Diary | None], Piece]] = {}
QUESTIONS: dict[str, Callable[[Reading, Scene, Diary | None, Slot | None], Piece | None]] = {}
