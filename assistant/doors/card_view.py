"""A boat's life as a picture: from the day of the job to the last day of the range, today's water line, the toppers.

Places are percent of the width; the numbers behind them stand in words beside the picture.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from assistant.domain.coatings import Life

LEFT, RIGHT = 2.0, 98.0


@dataclass(frozen=True, slots=True)
class Picture:
    """Places on the line, in percent of its width."""

    today: float
    due_from: float
    due: float
    due_to: float
    toppers: tuple[float, ...]
    stage: str


def picture_of(life: Life, toppers: Sequence[date]) -> Picture:
    """The picture of one coat's life."""
    begins, ends = life.application.applied_on, max(life.due_to, life.today)
    days = max(1, (ends - begins).days)

    def place(day: date) -> float:
        share = min(1.0, max(0.0, (day - begins).days / days))
        return round(LEFT + share * (RIGHT - LEFT), 1)

    return Picture(
        today=place(life.today),
        due_from=place(life.due_from),
        due=place(life.due_on),
        due_to=place(life.due_to),
        toppers=tuple(place(day) for day in toppers),
        stage=life.stage.value,
    )
