"""What each boat of a visit needs: the boxes to tick on the day's sheet. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

from assistant.domain.business import Business, Service
from assistant.domain.coatings import Life, Stage
from assistant.domain.knowledge import Knowledge

NEW_COAT_HOURS = 12
"""Work that cures so long puts a coating on."""


@dataclass(frozen=True, slots=True)
class Box:
    """One thing to do. `id` names it within its visit and boat."""

    id: str
    text: str


def boxes(
    service: str, lives: Iterable[Life], business: Business, knowledge: Knowledge, today: date
) -> tuple[Box, ...]:
    """What to do on one boat, in working order. `lives` are those of its coats that count."""
    known, coats = business.services.get(service), list(lives)
    return (*_work(known, coats, business, knowledge), *_looks(coats, knowledge, today), Box("photos", "Photos after"))


def _work(
    service: Service | None, coats: list[Life], business: Business, knowledge: Knowledge
) -> Iterator[Box]:
    """The work by what the service is: a new coat, a topper, or a wash."""
    yield Box("before", "Photos before")
    if service is not None and service.cure_hours >= NEW_COAT_HOURS:
        yield Box("strip", "Wash and take the old finish off")
        yield Box("coat", f"New coat on {_surfaces(coats, knowledge) or 'the surfaces agreed on'}")
        yield Box("dry", f"Keep it dry for {service.cure_hours} hours: tell the owner")
        return
    yield Box("wash", f"Rinse, then wash with {business.soap or 'a pH-neutral boat soap'}")
    if service is not None and service.cure_hours:
        topper = business.topper or "a topper"
        yield Box("topper", f"Dry, then {topper} on {_surfaces(coats, knowledge) or 'the coated surfaces'}")
    else:
        yield Box("dry", "Dry it off")


def _looks(coats: list[Life], knowledge: Knowledge, today: date) -> Iterator[Box]:
    """What to look at while there: coats that near their end, toppers that are due."""
    for stage, wanted in ((Stage.DUE, "a new coat is due"), (Stage.SOON, "a new coat is due soon")):
        ending = [life for life in coats if life.stage is stage]
        if ending:
            yield Box(f"look-{stage}", f"Flashlight on {_surfaces(ending, knowledge)}: {wanted}")
    wanting = [
        life for life in coats if life.stage is Stage.FINE and life.next_topper_on and life.next_topper_on <= today
    ]
    if wanting:
        yield Box("look-topper", f"Topper on {_surfaces(wanting, knowledge)} is due")


def _surfaces(coats: list[Life], knowledge: Knowledge) -> str:
    names = dict.fromkeys(knowledge.named("surfaces", life.application.surface, "en") for life in coats)
    return " and ".join(names)
