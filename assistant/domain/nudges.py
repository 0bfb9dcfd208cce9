"""What comes due for a client, and when: toppers, reseals, lay-up and launch, a look back, visits.

`foresee` names every occasion with its days and, where it should stay unsaid, the reason. What is then said, and how
much of it at once, is decided in `nudge_plan`; the words stand in knowledge/nudges.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from assistant.domain import coatings
from assistant.domain.coatings import Life, Stage
from assistant.domain.consent import named_by, refusal
from assistant.domain.conversation.scene import Scene
from assistant.domain.knowledge import Coating, NudgeText
from assistant.domain.people import CareEvent, CareKind, Vessel
from assistant.domain.visits import Visit, VisitState

PLANNED = (
    "after_harsh", "reseal_overdue", "reseal_due", "launch", "layup", "reseal_soon", "first_topper", "monthly_topper",
    "check_in", "thanks_after_visit", "visit_reminder",
)  # fmt: skip
"""Kinds that the calendar brings, the weightiest first: it leads when several are due."""
OPT_OUT_LINE = "opt_out_line"
CARE_PACK_PARTS = ("coat", "keep_dry", "no_soap", "soap", "topper", "reseal", "reseal_at_layup", "wax")
"""Sentences of the care pack's file; each is said where it applies."""
KINDS = (*PLANNED, "care_pack", "number_closed", OPT_OUT_LINE)
STANDARD_WORK = frozenset({"wash", "topper", "reseal"})
"""Services we know the meaning of; any other counts as `other`, work big enough to speak of the finish there."""
JUST_BEEN = timedelta(days=21)
"""A visit so short ago still answers, even where nobody has written down what was put on."""
AFTER_LAUNCH = timedelta(days=14)
CLOSE_TO_LAUNCH = timedelta(days=45)
PUT_OFF = timedelta(days=30)
"""What stopped helping longer than this before the day it was put off to was not what the client put off."""
LOOKED_BACK = timedelta(days=60)
"""How far back events and visits are looked at."""
ONE_DAY = timedelta(days=1)
LONG_AGO = date(1970, 1, 1)
LATER_STAGES = {
    "reseal_soon": ("reseal_due", "reseal_overdue"),
    "reseal_due": ("reseal_overdue",),
    "first_topper": ("monthly_topper",),
}
HARSH = frozenset({CareKind.HARSH_WASH, CareKind.STRIP})


@dataclass(frozen=True, slots=True)
class Rules:
    """The front matter of a nudge file. Days; `silenced_by` are services and states that answer the nudge."""

    after_days: int = 0
    before_days: int = 0
    within_days: int = 14
    ahead_days: int = 400
    """A booked visit answers when it is no further ahead than this."""
    counts: bool = True
    """Whether it counts against how many nudges a client gets."""
    silenced_by: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Coat:
    """What one job put on one vessel: the same coating on all these surfaces. `life` is the soonest due of them."""

    vessel: Vessel
    life: Life
    surfaces: tuple[str, ...]
    coating: Coating

    @property
    def key(self) -> str:
        """Names the coat in occasions: a coat is spoken of once at each stage, whatever moves its dates."""
        return f"{self.vessel.id}/{self.coating.id}/{self.life.application.applied_on}"


@dataclass(frozen=True, slots=True)
class Nudge:
    """One thing worth a text. Days are the client's wall days; `last_on` is the last one on which it helps."""

    kind: str
    occasion: str
    due_on: date
    last_on: date
    vessel: Vessel | None = None
    coat: Coat | None = None
    event: CareEvent | None = None
    visit: Visit | None = None
    when: date | None = None
    """The day of lay-up or launch."""
    holds: frozenset[str] = frozenset()
    """Conditions of this nudge's own, for the variant of its text."""
    silenced: str = ""
    """Why it stays unsaid for now."""
    ask_again: datetime | None = None
    """When that may have changed by itself; None: only by what somebody does."""

    @property
    def about(self) -> str:
        """The coat it is about, as in its occasion; empty for a nudge about none."""
        return self.coat.key if self.coat else ""


@dataclass(frozen=True, slots=True)
class Earlier:
    """A text of before: when it left or may have left or, while it `waits` in the outbox, when it is to leave."""

    outbox_id: int
    kind: str
    consent: str
    at: datetime
    waits: bool = False


@dataclass(frozen=True)
class Outlook:
    """All that decides which nudges a client gets: the scene, what they put off, what they were told before."""

    scene: Scene
    snoozes: Mapping[str, date]
    planned_vessels: frozenset[int] = frozenset()
    """Vessels that an active wash-and-topper plan looks after."""
    earlier: tuple[Earlier, ...] = ()
    marketed_before: bool = False


def rules_of(text: NudgeText) -> Rules:
    """The rules of a nudge file. Raises ValueError naming what can't be read."""
    days = {"after_days", "before_days", "within_days", "ahead_days"}
    given: dict[str, object] = {}
    for name, value in text.rules.items():
        if name in days:
            if not value.isdigit():
                raise ValueError(f"{name} is {value!r}, which is no number of days")
            given[name] = int(value)
        elif name == "counts":
            if value not in ("yes", "no"):
                raise ValueError(f"counts is {value!r}")
            given[name] = value == "yes"
        elif name == "silenced_by":
            given[name] = frozenset(value.replace(",", " ").split())
        elif name not in ("also", "unnamed", "sources", *CARE_PACK_PARTS):
            raise ValueError(f"{name} is not a rule")
    return Rules(**given)  # type: ignore[arg-type]


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
    return [_silence(nudge, files[nudge.kind], outlook, timed) for nudge in timed]


def moment_of(day: date, scene: Scene) -> datetime:
    """When nudges of that wall day are thought of (UTC): at the hour at which texts of the widest kind may leave."""
    hour = scene.situation.business.marketing_window[0]
    return datetime.combine(day, hour, ZoneInfo(scene.zone)).astimezone(UTC)


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
    put_off = _put_off(nudge, rules, outlook)
    lived_on = put_off is not None and (put_off <= last or (nudge.last_on == date.max and put_off <= last + PUT_OFF))
    if put_off is None or not due < put_off or not lived_on:
        yield replace(nudge, due_on=due, last_on=last)
        return
    if put_off > outlook.scene.today:
        yield replace(nudge, due_on=due, last_on=last)
    last = put_off + timedelta(days=rules.within_days) if nudge.last_on == date.max else nudge.last_on
    yield replace(nudge, occasion=f"{nudge.occasion}/again-{put_off}", due_on=put_off, last_on=last)


def _put_off(nudge: Nudge, rules: Rules, outlook: Outlook) -> date | None:
    """The day until which the client wants to hear no more of this; what a visit needs is never put off."""
    if not rules.counts:
        return None
    return max((outlook.snoozes[kind] for kind in named_by(nudge.kind, outlook.snoozes)), default=None)


def _in_season(vessel: Vessel, day: date) -> date:
    """The day, or for a boat that is laid up then, two weeks after the launch that follows."""
    if not vessel.laid_up or vessel.season is None or vessel.season.holds(day):
        return day
    return next(launch for launch in yearly(vessel.season.begins, day) if launch > day) + AFTER_LAUNCH


def _silence(nudge: Nudge, rules: Rules, outlook: Outlook, others: Iterable[Nudge]) -> Nudge:
    """The nudge with the first reason why it stays unsaid."""
    scene = outlook.scene
    situation = scene.situation
    refused = refusal(nudge.kind, scene.knowledge.nudges["en"][nudge.kind].consent, situation)
    if refused:
        return replace(nudge, silenced=refused)
    put_off = _put_off(nudge, rules, outlook)
    if put_off and put_off > scene.today:
        return replace(nudge, silenced=f"put off until {put_off}", ask_again=moment_of(put_off, scene))
    if rules.counts and not situation.business.nudges_per_month:
        return replace(nudge, silenced="the business sends no nudges")
    if rules.counts and (situation.paused or situation.open_handover):
        return replace(nudge, silenced="a person has this thread", ask_again=scene.now + ONE_DAY)
    if rules.counts and situation.question:
        return replace(nudge, silenced="a question is open", ask_again=situation.question.expires_at)
    why = _overtaken(nudge, others, scene.today) or _answered(nudge, rules, scene) or _moot(nudge, rules, outlook)
    return replace(nudge, silenced=why)


def _overtaken(nudge: Nudge, others: Iterable[Nudge], today: date) -> str:
    """A coat is spoken of at its latest stage only."""
    later = LATER_STAGES.get(nudge.kind, ())
    come = (one for one in others if one.kind in later and one.about == nudge.about and one.due_on <= today)
    return next((f"{one.kind} has come" for one in come), "")


def _answered(nudge: Nudge, rules: Rules, scene: Scene) -> str:
    """The visit that answers the nudge already, if one is booked or has just been."""
    zone = ZoneInfo(scene.zone)
    since = nudge.event.on if nudge.event else nudge.coat.life.application.applied_on if nudge.coat else LONG_AGO
    for visit in scene.situation.visits:
        begins = visit.begins.astimezone(zone).date()
        ours = nudge.vessel is not None and (not visit.vessel_ids or nudge.vessel.id in visit.vessel_ids)
        work = visit.service if visit.service in STANDARD_WORK else "other"
        first = max(since + ONE_DAY, scene.today - JUST_BEEN)
        near = first <= begins <= scene.today + timedelta(days=rules.ahead_days)
        if visit.state is not VisitState.CALLED_OFF and ours and near and work in rules.silenced_by:
            return f"visit for {visit.service} on {begins}"
    return ""


def _moot(nudge: Nudge, rules: Rules, outlook: Outlook) -> str:
    """Why the nudge has no point for this vessel or visit as things stand."""
    scene, vessel, coat = outlook.scene, nudge.vessel, nudge.coat
    laid_up = vessel is not None and vessel.laid_up and vessel.season is not None
    reasons = {
        "plan": vessel is not None and vessel.id in outlook.planned_vessels and "a plan looks after it",
        "layup": laid_up and vessel and vessel.season and not vessel.season.holds(scene.today) and "laid up",
        "at_layup": coat is not None and coat.life.at_layup and "said at lay-up and before launch",
        "due": coat is not None and coat.life.stage is Stage.DUE and "the coat is used up",
    }
    stated = [why for name, why in reasons.items() if why and name in rules.silenced_by]
    return (stated or [_visit_moot(nudge, scene)])[0]


def _visit_moot(nudge: Nudge, scene: Scene) -> str:
    visit, zone = nudge.visit, ZoneInfo(scene.zone)
    if visit is None:
        return ""
    if nudge.kind == "visit_reminder":
        agreed = visit.revised_at.astimezone(zone).date() if visit.revised_at else date.min
        return "agreed on less than a day before" if agreed >= nudge.due_on else ""
    if visit.plan_id is not None:
        return "part of a plan"
    days = {moment.astimezone(zone).date() for moment in (visit.begins, visit.ends)}
    packed = any(one.applied_on in days and one.coating != "topper" for one in scene.situation.applications
                 if not visit.vessel_ids or one.vessel_id in visit.vessel_ids)  # fmt: skip
    return "the care pack said it" if packed else ""
