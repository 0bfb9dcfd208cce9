"""How long a coating lasts: exposed days used against exposed days given.

used(day) = K(how kept that day) x S(month), counted from the day after the application;
life = capacity + topper credit; due on the first day that used >= life, or at the calendar cap.
Parameters and their sources stand in knowledge/coatings.csv; counted in thousandths of an exposed day, so that
0.9 a day for 200 days is exactly 180.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from enum import StrEnum

from assistant.domain.knowledge import Coating, Knowledge
from assistant.domain.people import Application, CareEvent, CareKind, Kept, Vessel

MILLI = 1000
SUN_REFERENCE = 4.80
"""Mean daily sun at the reference station (kWh per square meter): the Miami year, NREL TMY3."""
SUN_LIMITS = (0.5, 1.3)
INSPECTED = {"sharp": (0, 60), "soft": (80, 95), "chalky": (100, 100)}
"""Flashlight test -> the percent used it allows (common practice, no source): a look beats the estimate."""
_SAME_DAY = {CareKind.TOPPER: 0, CareKind.MILD_WASH: 1, CareKind.HARSH_WASH: 2, CareKind.STRIP: 3, CareKind.INSPECTION: 4}
ONE_DAY = timedelta(days=1)


class Stage(StrEnum):
    """Where a coating stands."""

    FINE = "fine"
    SOON = "soon"
    DUE = "due"


@dataclass(frozen=True, slots=True)
class Life:
    """One application's life as of a day. Percent 0..100+; dates are plain days; always "about"."""

    application: Application
    today: date
    used_percent: int
    used_days: Decimal
    life_days: Decimal
    due_on: date
    due_from: date
    due_to: date
    stage: Stage
    at_layup: bool
    """The due day falls in lay-up or within 30 days before it: reseal at lay-up or before launch."""
    next_topper_on: date | None
    toppers: int
    """Toppers that counted."""
    why: tuple[str, ...] = ()
    """What moved the estimate, as ids with numbers: 'kept:in_water', 'toppers:3', 'debit:bleach:60', 'cap:365'."""


@dataclass
class _Tally:
    """Running account of one coating, in thousandths of an exposed day."""

    used: int
    capacity: int
    credit: int = 0
    last_credit: date | None = None
    toppers: int = 0

    @property
    def life(self) -> int:
        return self.capacity + self.credit


def parameters(coating: Coating, *overrides: Mapping[str, str]) -> Coating:
    """The coating with a business's or vessel's own numbers (`sealant.capacity_days` or `capacity_days` -> value)."""
    for given in overrides:
        for name, value in given.items():
            owner, _, column = name.rpartition(".")
            if owner in {"", coating.id} and column in _OVERRIDABLE:
                coating = replace(coating, **{column: _OVERRIDABLE[column](value)})
            elif owner in {"", coating.id} and column.removeprefix("k_") in coating.k and column.startswith("k_"):
                coating = replace(coating, k={**coating.k, column.removeprefix("k_"): Decimal(value)})
    return coating


_OVERRIDABLE = {
    "capacity_days": Decimal, "cap_days": int, "topper_credit_days": Decimal, "topper_min_gap_days": int,
    "topper_credit_max_share": Decimal, "debit_avoid": Decimal, "debit_ask": Decimal,
    "first_topper_day": int, "topper_every_days": int,
}  # fmt: skip


def vessel_overrides(vessel: Vessel) -> dict[str, str]:
    """The vessel's own life parameters, from `name=value;name=value`."""
    pairs = (part.partition("=") for part in vessel.life_factors.split(";") if "=" in part)
    return {name.strip(): value.strip() for name, _, value in pairs}


def sun_factors(months: Sequence[float] | None) -> tuple[int, ...]:
    """S by month in thousandths; all 1000 when the sun is left out (the default)."""
    if not months:
        return (MILLI,) * 12
    low, high = SUN_LIMITS
    return tuple(round(MILLI * min(high, max(low, value / SUN_REFERENCE))) for value in months)


def life(
    application: Application, vessel: Vessel, events: Iterable[CareEvent], coating: Coating, today: date,
    sun: Sequence[float] | None = None,
) -> Life:  # fmt: skip
    """The life of one application as of `today`. `events` may hold others; only those that touch it count."""
    mine = sorted((event for event in events if _touches(event, application)), key=_order)
    tally = _Tally(0, int(coating.capacity_days * MILLI))
    due, used_today, life_today = None, 0, tally.life
    cap_on = application.applied_on + timedelta(days=coating.cap_days)
    for day, now in _days(application, vessel, mine, coating, sun_factors(sun), tally, cap_on):
        if day <= today:
            used_today, life_today = now.used, now.life
        if due is None and now.used >= now.life:
            due = day
        if due is not None and day >= today:
            break
    due = min(due or cap_on, cap_on)
    return _life(application, vessel, mine, coating, today, due, used_today, life_today, tally.toppers)


def course(
    application: Application, vessel: Vessel, events: Iterable[CareEvent], coating: Coating, until: date,
    sun: Sequence[float] | None = None,
) -> list[tuple[date, Decimal, Decimal]]:  # fmt: skip
    """(day, used, life) in exposed days from the application to `until`: the line of the life picture."""
    mine = sorted((event for event in events if _touches(event, application)), key=_order)
    tally = _Tally(0, int(coating.capacity_days * MILLI))
    points = [(application.applied_on, Decimal(0), Decimal(tally.life) / MILLI)]
    for day, now in _days(application, vessel, mine, coating, sun_factors(sun), tally, until):
        points.append((day, Decimal(now.used) / MILLI, Decimal(now.life) / MILLI))
    return points


def _days(
    application: Application, vessel: Vessel, events: Sequence[CareEvent], coating: Coating, sun: Sequence[int],
    tally: _Tally, last: date,
) -> Iterator[tuple[date, _Tally]]:  # fmt: skip
    """The account after each day from the day of application to `last`; that day itself uses nothing."""
    rates = {kept: int(coating.k[kept.value] * MILLI) for kept in Kept}
    waiting = list(events)
    day = application.applied_on
    while day <= last:
        if day > application.applied_on:
            tally.used += rates[vessel.kept_on(day)] * sun[day.month - 1] // MILLI
        while waiting and waiting[0].on <= day:
            _account(tally, waiting.pop(0), coating)
        yield day, tally
        day += ONE_DAY


def _account(tally: _Tally, event: CareEvent, coating: Coating) -> None:
    share = min(Decimal(1), max(Decimal(0), event.area))
    if event.kind is CareKind.TOPPER:
        _credit(tally, event.on, coating)
    elif event.kind is CareKind.HARSH_WASH:
        tally.used += int(coating.debit_avoid * share * MILLI)
    elif event.kind is CareKind.MILD_WASH:
        tally.used += int(coating.debit_ask * share * MILLI)
    elif event.kind is CareKind.STRIP:
        tally.used += int(max(0, tally.life - tally.used) * share)
        # what the strip took of earlier toppers no longer counts against the limit of credit
        tally.credit, lost = int(tally.credit * (1 - share)), tally.credit - int(tally.credit * (1 - share))
        tally.used, tally.last_credit = max(0, tally.used - lost), None
    else:
        low, high = INSPECTED.get(event.grade, (0, 100))
        tally.used = min(max(tally.used, tally.life * low // 100), tally.life * high // 100)


def _credit(tally: _Tally, on: date, coating: Coating) -> None:
    """A topper counts while the base has life, not more often than the gap, and up to a share of the capacity."""
    if tally.used >= tally.life or coating.topper_credit_days == 0:
        return
    if tally.last_credit and (on - tally.last_credit).days < coating.topper_min_gap_days:
        return
    room = int(tally.capacity * coating.topper_credit_max_share) - tally.credit
    gain = min(int(coating.topper_credit_days * MILLI), room)
    if gain > 0:
        tally.credit += gain
        tally.last_credit = on
        tally.toppers += 1


def _life(
    application: Application, vessel: Vessel, events: Sequence[CareEvent], coating: Coating, today: date, due: date,
    used: int, given: int, toppers: int,
) -> Life:  # fmt: skip
    span = (due - application.applied_on).days
    spent = (today - application.applied_on).days
    by_sun = 100 * used // given if given else 100
    percent = 100 if today >= due else min(by_sun, 99)
    by_calendar = 100 * spent // coating.cap_days
    nearest = max(percent, by_calendar)
    stage = Stage.DUE if percent >= 100 else Stage.SOON if nearest >= coating.soon_percent else Stage.FINE
    return Life(
        application=application,
        today=today,
        used_percent=percent,
        used_days=Decimal(used) / MILLI,
        life_days=Decimal(given) / MILLI,
        due_on=due,
        due_from=application.applied_on + timedelta(days=span * (100 - coating.range_early_percent) // 100),
        due_to=application.applied_on + timedelta(days=span * (100 + coating.range_late_percent) // 100),
        stage=stage,
        at_layup=_at_layup(vessel, due),
        next_topper_on=_next_topper(application, events, coating, today),
        toppers=toppers,
        why=_why(vessel, events, coating, application, due, toppers),
    )


def _why(
    vessel: Vessel, events: Sequence[CareEvent], coating: Coating, application: Application, due: date, toppers: int
) -> tuple[str, ...]:
    reasons = [f"kept:{vessel.kept.value}"]
    if vessel.laid_up:
        reasons.append(f"laid_up:{vessel.kept_off_season}")
    if toppers:
        reasons.append(f"toppers:{toppers}")
    for event in events:
        debit = {CareKind.HARSH_WASH: coating.debit_avoid, CareKind.MILD_WASH: coating.debit_ask}.get(event.kind)
        if debit:
            reasons.append(f"debit:{event.substance or event.kind.value}:{int(debit * event.area)}")
        elif event.kind in {CareKind.STRIP, CareKind.INSPECTION}:
            reasons.append(f"{event.kind.value}:{event.grade or event.substance}")
    if (due - application.applied_on).days >= coating.cap_days:
        reasons.append(f"cap:{coating.cap_days}")
    return tuple(reasons)


def _at_layup(vessel: Vessel, due: date) -> bool:
    if not vessel.laid_up or vessel.season is None:
        return False
    return not vessel.season.holds(due) or not vessel.season.holds(due + timedelta(days=30))


def _next_topper(
    application: Application, events: Sequence[CareEvent], coating: Coating, today: date
) -> date | None:
    if coating.first_topper_day is None or coating.topper_every_days is None:
        return None
    last = max((event.on for event in events if event.kind is CareKind.TOPPER and event.on <= today), default=None)
    first = application.applied_on + timedelta(days=coating.first_topper_day)
    return first if last is None else max(first, last + timedelta(days=coating.topper_every_days))


def _touches(event: CareEvent, application: Application) -> bool:
    return (
        event.vessel_id == application.vessel_id
        and event.on >= application.applied_on
        and event.surface in {"", application.surface}
    )


def _order(event: CareEvent) -> tuple[date, int, Decimal, str, str]:
    return event.on, _SAME_DAY[event.kind], event.area, event.substance, event.grade


def current(applications: Iterable[Application], on: date) -> list[Application]:
    """The coat that counts on each surface of each vessel: the latest, a topper only where no base lies under it."""
    best: dict[tuple[int, str], Application] = {}
    for one in sorted(applications, key=lambda a: (a.applied_on, a.id)):
        key = (one.vessel_id, one.surface)
        if one.applied_on <= on and not (one.coating == "topper" and key in best):
            best[key] = one
    return list(best.values())


def with_topper_coats(applications: Iterable[Application], events: Iterable[CareEvent]) -> list[CareEvent]:
    """The events, with toppers that were recorded as applications counted as toppers too."""
    coats = [
        CareEvent(0, one.vessel_id, CareKind.TOPPER, one.applied_on, surface=one.surface)
        for one in applications
        if one.coating == "topper"
    ]
    return [*events, *coats]


def lives(
    vessels: Iterable[Vessel], applications: Sequence[Application], events: Iterable[CareEvent], knowledge: Knowledge,
    today: date, overrides: Mapping[str, str] | None = None, sun_station: str = "",
) -> list[Life]:  # fmt: skip
    """The life of every coat that counts, soonest due first."""
    by_id = {vessel.id: vessel for vessel in vessels}
    care = with_topper_coats(applications, events)
    sun = knowledge.sun.get(sun_station)
    found = []
    for one in current(applications, today):
        vessel = by_id.get(one.vessel_id)
        coating = knowledge.coatings.get(one.coating)
        if vessel and coating:
            own = parameters(coating, overrides or {}, vessel_overrides(vessel))
            found.append(life(one, vessel, care, own, today, sun))
    return sorted(found, key=lambda one: (one.due_on, one.application.id))
