"""What our people ask for by text: the day, the week, whose reseal is near, what waits for an answer."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from assistant.assembly import Assistant
from assistant.domain import wording
from assistant.domain.crew_commands import days_of
from assistant.domain.times import read_times
from assistant.domain.visits import Visit
from assistant.storage import visits
from assistant.usecases.crew_answers import open_list
from assistant.usecases.crew_desk import Desk, Said
from assistant.usecases.list_lives import Standing, list_lives

LINES = 10
"""Lines of one list; the pages show the rest."""
AHEAD = timedelta(days=30)


def agenda(desk: Desk, words: str) -> Said:
    """The visits of the days named, a line each."""
    wish = read_times(words, desk.now, desk.zone, desk.language)
    days = days_of(wish, desk.today) or (desk.today,)
    found = visits_on(desk, days[0], days[-1])
    first, last = desk.day(days[0]), desk.day(days[-1])
    span = first if first == last else f"{first} - {last}"
    if not found:
        return Said(desk.say("no_visits", when=span), "crew.agenda")
    lines = [visit_line(desk, visit, with_day=len(days) > 1) for visit in found]
    return Said(desk.say("visits", when=span, list=_lines(desk, lines)), "crew.agenda")


def visits_on(desk: Desk, first: date, last: date) -> tuple[Visit, ...]:
    """Booked visits from the day `first` to the day `last`, both included."""
    zone = ZoneInfo(desk.zone)
    begins = datetime.combine(first, time(), zone)
    return visits.visits_between(desk.tx, begins, datetime.combine(last + timedelta(days=1), time(), zone))


def visit_line(desk: Desk, visit: Visit, *, with_day: bool) -> str:
    """'9 am wash, Sea Thistle (Ana Reyes), Pelican Slough'."""
    service = desk.app.business.services.get(visit.service)
    what = service.name.get(desk.language) or service.name.get("en", service.id) if service else visit.service
    of_client = [one for one in desk.names if one.client_id == visit.client_id]
    boats = [one for one in of_client if one.vessel_id in visit.vessel_ids] or of_client[:1]
    when = wording.time_text(visit.begins, desk.zone, desk.language)
    day = f"{desk.day(visit.begins.astimezone(ZoneInfo(desk.zone)).date())} " if with_day else ""
    return ", ".join(filter(None, (f"{day}{when} {what}", desk.join([one.shown for one in boats]), visit.place)))


def near(app: Assistant, now: datetime) -> list[Standing]:
    """Base coats that are due or will be within a month, the soonest first. Reads for a while: not for inside a
    transaction that writes."""
    today = now.astimezone(ZoneInfo(app.business.zone)).date()
    return [
        one for one in list_lives(app, today)
        if not one.replaced and one.life.application.coating != "topper" and one.life.due_on <= today + AHEAD
    ]  # fmt: skip


def due(desk: Desk, soon: Sequence[Standing]) -> Said:
    """A line for each boat of which some coat is near its end."""
    by_vessel = {one.vessel.id: one for one in reversed(soon)}
    lines = [
        desk.say("due_one", vessel=one.vessel.name, client=one.client.name, due_on=desk.day(one.life.due_on),
                 coating=desk.named("coatings", one.life.application.coating), used=f"{one.life.used_percent}%")
        for one in reversed(by_vessel.values())
    ]  # fmt: skip
    return Said(desk.say("due", list=_lines(desk, lines)) if lines else desk.say("none_due"), "crew.due")


def waiting(desk: Desk) -> Said:
    """What waits for an answer."""
    return Said(desk.say("waiting", list=open_list(desk)), "crew.waiting")


def _lines(desk: Desk, lines: Sequence[str]) -> str:
    more = [desk.say("more", count=str(len(lines) - LINES))] if len(lines) > LINES else []
    return "\n".join([*lines[:LINES], *more])
