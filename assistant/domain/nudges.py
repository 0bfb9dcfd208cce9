"""What comes due for a client, and when: toppers, reseals, lay-up and launch, a look back, visits.

`foresee` names every occasion with its days and, where it should stay unsaid, the reason (`nudge_silence`). What is
then said, and how much of it at once, is decided in `nudge_plan`; the words stand in knowledge/nudges.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from assistant.domain import coatings
from assistant.domain.coatings import Life
from assistant.domain.conversation.scene import Scene
from assistant.domain.nudge_silence import put_off_to, silence
from assistant.domain.nudge_values import ONE_DAY, PLANNED, Coat, Nudge, Outlook, Rules, rules_of
from assistant.domain.people import CareKind, Vessel
from assistant.domain.visits import VisitState

AFTER_LAUNCH = timedelta(days=14)
CLOSE_TO_LAUNCH = timedelta(days=45)
PUT_OFF = timedelta(days=30)
"""What stopped helping longer than this before the day it was put off to was not what the client put off."""
LOOKED_BACK = timedelta(days=60)
"""How far back events and visits are looked at."""
HARSH = frozenset({CareKind.HARSH_WASH, CareKind.STRIP})


def foresee(outlook: Outlook) -> list[Nudge]:
    """Every occasion that is due, was due lately, or comes next, each with the reason why it stays unsaid, if any."""
    scene = outlook.scene
    files = {kind: rules_of(text) for kind, text in scene.knowledge.nudges.get("en", {}).items() if kind in PLANNED}
    found: list[Nudge] = list(_of_visits(scene))
    on = coats(scene)
    for vessel in scene.situation.vessels:
        mine = [coat for coat in on if coat.vessel.id == vessel.id]
        found += [*_of_coats(mine, scene), *_of_toppers(vessel, mine, scene), *_of_season(vessel, mine, scene)]
        found += _of_events(vessel, mine, scene)
    timed = [one for nudge in found if nudge.kind in files for one in _timed(nudge, files[nudge.kind], outlook)]
    return [silence(nudge, files[nudge.kind], outlook, timed) for nudge in timed]


def coats(scene: Scene) -> list[Coat]:
    """What is on the client's vessels, one entry a job and coating, soonest due first."""
    vessels = {vessel.id: vessel for vessel in scene.situation.vessels}
    groups: dict[tuple[int, str, date], list[Life]] = {}
    for life in scene.lives:
        one = life.application
        groups.setdefault((one.vessel_id, one.coating, one.applied_on), []).append(life)
    found = []
    for (vessel_id, coating, _), lives in groups.items():
        vessel = vessels[vessel_id]
        own = coatings.parameters(
            scene.knowledge.coatings[coating], scene.situation.business.life, coatings.vessel_overrides(vessel)
        )
        found.append(Coat(vessel, lives[0], tuple(life.application.surface for life in lives), own))
    return found


def soon_on(coat: Coat, scene: Scene) -> date:
    """The first day on which the coat is used so far that a reseal is near; the due day if that comes first."""
    life, coating, situation = coat.life, coat.coating, scene.situation
    begun, share = life.application.applied_on, coating.soon_percent
    by_calendar = begun - timedelta(days=-coating.cap_days * share // 100)
    last = min(life.due_on, by_calendar)
    care = coatings.with_topper_coats(situation.applications, situation.events)
    sun = scene.knowledge.sun.get(situation.business.sun_station)
    course = coatings.course(life.application, coat.vessel, care, coating, last, sun)
    return next((day for day, used, whole in course if day > begun and 100 * used >= share * whole), last)


def _of_coats(mine: Iterable[Coat], scene: Scene) -> Iterator[Nudge]:
    """The look back a week after the job, and the three stages of wearing out."""
    for coat in mine:
        if coat.coating.id != "topper":
            due = coat.life.due_on
            yield _coat_nudge("check_in", coat, coat.life.application.applied_on)
            yield replace(_coat_nudge("reseal_soon", coat, soon_on(coat, scene)), last_on=due - ONE_DAY)
            yield _coat_nudge("reseal_due", coat, due)
            yield _coat_nudge("reseal_overdue", coat, due)


def _coat_nudge(kind: str, coat: Coat, day: date) -> Nudge:
    return Nudge(kind, f"{kind}/{coat.key}", day, date.max, coat.vessel, coat)


def _of_toppers(vessel: Vessel, mine: Iterable[Coat], scene: Scene) -> Iterator[Nudge]:
    """The first topper after the newest job, then one each month from the last one reported, while the coat lasts."""
    wanting = [coat for coat in mine if coat.coating.first_topper_day and coat.coating.topper_every_days]
    if not wanting:
        return
    coat = max(wanting, key=lambda one: (one.coating.id != "topper", one.life.application.applied_on))
    begun, every = coat.life.application.applied_on, timedelta(days=coat.coating.topper_every_days or 0)
    first = begun + timedelta(days=coat.coating.first_topper_day or 0)
    care = coatings.with_topper_coats(scene.situation.applications, scene.situation.events)
    sprayed = [one.on for one in care if one.vessel_id == vessel.id and one.kind is CareKind.TOPPER
               and begun <= one.on <= scene.today and coat.coating.id != "topper"]  # fmt: skip
    if not sprayed:
        yield _coat_nudge("first_topper", coat, first)
    monthly = max(first, max(sprayed) + every) if sprayed else first + every
    gone_by = max(0, (scene.today - monthly).days // every.days)
    for number in (gone_by, gone_by + 1):
        nudge = _coat_nudge("monthly_topper", coat, monthly + number * every)
        if nudge.due_on < coat.life.due_on or coat.coating.id == "topper":
            yield replace(nudge, occasion=f"{nudge.occasion}/{nudge.due_on}")


def _of_season(vessel: Vessel, mine: Iterable[Coat], scene: Scene) -> Iterator[Nudge]:
    """Lay-up and launch of each year, with what the coat needs then."""
    if not vessel.laid_up or vessel.season is None:
        return
    coat = next((one for one in mine if one.coating.id != "topper"), None)
    for kind, month_day in (("layup", vessel.season.ends), ("launch", vessel.season.begins)):
        for day in yearly(month_day, scene.today):
            if day >= scene.today - LOOKED_BACK:
                holds = _season_holds(kind, day, vessel, coat)
                yield Nudge(kind, f"{kind}/{vessel.id}/{day}", day, day, vessel, coat, when=day, holds=holds)


def _season_holds(kind: str, day: date, vessel: Vessel, coat: Coat | None) -> frozenset[str]:
    if coat is None or vessel.season is None:
        return frozenset()
    due = coat.life.due_on
    if due <= day:
        return frozenset({"due"})
    if kind == "launch":
        return frozenset({"soon"}) if due <= day + CLOSE_TO_LAUNCH else frozenset()
    launch = next(one for one in yearly(vessel.season.begins, day) if one > day)
    return frozenset({"at_layup"}) if due <= launch + CLOSE_TO_LAUNCH else frozenset()


def yearly(month_day: tuple[int, int], around: date) -> tuple[date, ...]:
    """The same day in the last, this and the next two years; 29 February is the 28th where there is none."""
    month, day = month_day
    return tuple(_real_day(year, month, day) for year in range(around.year - 1, around.year + 3))


def _real_day(year: int, month: int, day: int) -> date:
    while True:
        try:
            return date(year, month, day)
        except ValueError:
            day -= 1


def _of_events(vessel: Vessel, mine: Iterable[Coat], scene: Scene) -> Iterator[Nudge]:
    """Some days after a harsh cleaner was reported: is it still beading?"""
    coat = next((one for one in mine if one.coating.id != "topper"), None)
    if coat is None:
        return
    for event in scene.situation.events:
        lately = scene.today - LOOKED_BACK <= event.on and event.on >= coat.life.application.applied_on
        if event.vessel_id == vessel.id and event.kind in HARSH and lately:
            occasion = f"after_harsh/{vessel.id}/{event.id}"
            yield Nudge("after_harsh", occasion, event.on, date.max, vessel, coat, event)


def _of_visits(scene: Scene) -> Iterator[Nudge]:
    """A reminder the day before a visit, and thanks the day after one that ended without a care pack."""
    zone = ZoneInfo(scene.zone)
    for visit in scene.situation.visits:
        begins, ends = (moment.astimezone(zone).date() for moment in (visit.begins, visit.ends))
        if visit.state is VisitState.BOOKED and visit.begins > scene.now:
            yield Nudge("visit_reminder", reminder_of(visit.id, visit.begins), begins, date.max, visit=visit)
        elif visit.state is VisitState.DONE and ends > scene.today - LOOKED_BACK:
            yield Nudge("thanks_after_visit", thanks_for(visit.id), ends, date.max, visit=visit)


def reminder_of(visit_id: int, begins: datetime) -> str:
    """The occasion of reminding of a visit: a moved one is reminded of anew."""
    return f"visit_reminder/{visit_id}/{begins:%Y%m%dT%H%MZ}"


def thanks_for(visit_id: int) -> str:
    """The occasion of saying thanks for a visit."""
    return f"thanks_after_visit/{visit_id}"


def _timed(nudge: Nudge, rules: Rules, outlook: Outlook) -> Iterator[Nudge]:
    """The nudge on the days its file says, after or before what it is about, and on the day it was put off to."""
    due = nudge.due_on + timedelta(days=rules.after_days - rules.before_days)
    if nudge.kind == "reseal_overdue" and nudge.vessel:
        due = _in_season(nudge.vessel, due)
    last = due + timedelta(days=rules.within_days) if nudge.last_on == date.max else nudge.last_on
    put_off = put_off_to(nudge, rules, outlook)
    lived_on = put_off is not None and (put_off <= last or (nudge.last_on == date.max and put_off <= last + PUT_OFF))
    if put_off is None or not due < put_off or not lived_on:
        yield replace(nudge, due_on=due, last_on=last)
        return
    if put_off > outlook.scene.today:
        yield replace(nudge, due_on=due, last_on=last)
    last = put_off + timedelta(days=rules.within_days) if nudge.last_on == date.max else nudge.last_on
    yield replace(nudge, occasion=f"{nudge.occasion}/again-{put_off}", due_on=put_off, last_on=last)


def _in_season(vessel: Vessel, day: date) -> date:
    """The day, or for a boat that is laid up then, two weeks after the launch that follows."""
    if not vessel.laid_up or vessel.season is None or vessel.season.holds(day):
        return day
    return next(launch for launch in yearly(vessel.season.begins, day) if launch > day) + AFTER_LAUNCH
