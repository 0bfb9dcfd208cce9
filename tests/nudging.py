"""Clients with boats as values, for tests of what comes due and how it is said. The knowledge is the real one."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from decimal import Decimal
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

from assistant.domain.business import Business, Service
from assistant.domain.conversation.scene import Scene
from assistant.domain.conversation.situation import Situation
from assistant.domain.knowledge import Knowledge
from assistant.domain.nudge_values import Nudge, Outlook
from assistant.domain.nudges import foresee
from assistant.domain.people import Application, CareEvent, CareKind, Client, Consent, Kept, Season, Vessel
from assistant.domain.visits import Visit, VisitState
from assistant.storage.knowledge_files.reader import read_without_model

MIAMI = ZoneInfo("America/New_York")
AGREED = Consent(service=True, marketing=True)
BUSINESS = Business(
    1, "Fernwake Boat Care", "Nola", "+13055550100", "America/New_York", "US", "en",
    {weekday: (time(8), time(17)) for weekday in range(5)},
    services={id_: Service(id_, {"en": id_, "es": id_}) for id_ in ("wash", "topper", "reseal", "haul_out")},
    soap="a pH-neutral boat soap",
)  # fmt: skip
ANA = Client(1, "Ana Reyes", "+13055550111", "en", "America/New_York", "US")
THISTLE = Vessel(1, 1, "Sea Thistle")
"""In the water all year."""
MOON = Vessel(2, 1, "Paper Moon", season=Season((5, 15), (10, 15)), kept_off_season=Kept.INDOORS)
"""Indoors in winter."""


@cache
def knowledge() -> Knowledge:
    """The shipped knowledge, without its topic models."""
    return read_without_model(Path(__file__).parents[1] / "knowledge")[0]


def at(day: date, hour: int = 10, minute: int = 0) -> datetime:
    """A wall time in Miami."""
    return datetime(day.year, day.month, day.day, hour, minute, tzinfo=MIAMI).astimezone(UTC)


def sealed(on: date, vessel: Vessel = THISTLE, coating: str = "sealant", *surfaces: str) -> tuple[Application, ...]:
    """A job that put the coating on these surfaces (hull)."""
    number = 100 * vessel.id + 10 * len(coating)
    return tuple(Application(number + place, vessel.id, surface, coating, on)
                 for place, surface in enumerate(surfaces or ("hull",)))  # fmt: skip


def sprayed(*days: date, vessel: Vessel = THISTLE) -> tuple[CareEvent, ...]:
    """Toppers on these days."""
    return tuple(CareEvent(500 + place, vessel.id, CareKind.TOPPER, day) for place, day in enumerate(days))


def visit(on: date, service: str = "reseal", state: VisitState = VisitState.BOOKED, **how) -> Visit:
    """A visit to the first vessel at nine in the morning."""
    how.setdefault("vessel_ids", (1,))
    return Visit(how.pop("id", 1), 1, how.pop("vessel_ids"), service, 1, at(on, 9), at(on, 12), "America/New_York",
                 "Pelican Slough", state, revised_at=how.pop("revised_at", at(date(2026, 1, 2))), **how)  # fmt: skip


def outlook(
    today: date | datetime, applications=(), vessels=(THISTLE,), *, snoozes=None, planned=(), earlier=(),
    marketed=False, client=ANA, business=BUSINESS, consent=AGREED, **situation,
) -> Outlook:  # fmt: skip
    """What is known of the client at ten in the morning of a day."""
    now = today if isinstance(today, datetime) else at(today)
    known = Situation(business, client.phone, client, consent, tuple(vessels), tuple(applications), thread_id=1, **situation)
    scene = Scene(known, knowledge(), now, client.language)
    return Outlook(scene, snoozes or {}, frozenset(planned), tuple(earlier), marketed)


def due(view: Outlook) -> dict[str, Nudge]:
    """What is due and still helps, by kind; kinds that come due twice at once are a mistake here."""
    today = view.scene.today
    found = [nudge for nudge in foresee(view) if nudge.due_on <= today <= nudge.last_on]
    assert len({nudge.kind for nudge in found}) == len(found)
    return {nudge.kind: nudge for nudge in found}


def harsh(on: date, substance: str = "chlorine_bleach", area: str = "1") -> CareEvent:
    """A harsh wash of the first vessel."""
    return CareEvent(900, 1, CareKind.HARSH_WASH, on, Decimal(area), substance)
