"""Whether a text that we begin ourselves may leave at this moment. Asked again right before every sending.

Hours are half-open, [opens, closes), and hold in every zone the client may be in: the one on record and those of the
number's area code. An answer to the client's own text and a text to our own people may leave at any hour.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from typing import Protocol
from zoneinfo import ZoneInfo

import phonenumbers
from phonenumbers import timezone as number_zones

from assistant.domain.conversation.situation import Situation

REPLY, SERVICE, MARKETING, CREW = "reply", "service", "marketing", "crew"
"""What a text needs: nothing of its own for answers and for our own people, else one of the two consents."""

AT_ANY_HOUR = frozenset({REPLY, CREW})
TOO_MANY_ZONES = 4
"""A number that could be in more zones than this says nothing about where its owner is."""
SUNDAY = 6
DAYS_AHEAD = 9


@dataclass(frozen=True, slots=True)
class Go:
    """It may leave now, and be held by the carrier until `until` at most (None: as long as it likes)."""

    until: datetime | None = None


@dataclass(frozen=True, slots=True)
class Wait:
    """Not at this hour: ask again at `until`."""

    until: datetime


@dataclass(frozen=True, slots=True)
class Drop:
    """Not any more."""

    why: str


class Text(Protocol):
    """What counts of a text that wants to leave."""

    @property
    def consent(self) -> str: ...  # noqa: D102
    @property
    def kind(self) -> str: ...  # noqa: D102
    @property
    def not_before(self) -> datetime | None: ...  # noqa: D102
    @property
    def not_after(self) -> datetime | None: ...  # noqa: D102


def may_send(text: Text, situation: Situation, now: datetime) -> Go | Wait | Drop:
    """Go, wait or drop, for `text` to the sender of `situation`."""
    refusal = _refusal(text, situation, now)
    if refusal:
        return Drop(refusal)
    if text.not_before and now < text.not_before:
        return Wait(text.not_before)
    if text.consent in AT_ANY_HOUR:
        return Go(text.not_after)
    window = next_window(now, text.consent, situation)
    if window is None:
        return Drop(f"no hour is fit in all of {', '.join(sorted(candidate_zones(situation)))}")
    opens, closes = window
    if now < opens:
        return Wait(opens)
    return Go(min(closes, text.not_after) if text.not_after else closes)


def next_window(now: datetime, consent: str, situation: Situation) -> tuple[datetime, datetime] | None:
    """From the first moment, now or later, at which the hour is fit in every zone of the client, to its end (UTC)."""
    business = situation.business
    hours = business.marketing_window if consent == MARKETING else business.service_window
    days_off = {SUNDAY} if consent == MARKETING else set()
    zones = [ZoneInfo(key) for key in sorted(candidate_zones(situation))]
    for moment in sorted({now, *_openings(now, hours[0], zones)}):
        ends = [_end_of_hours(moment, hours, days_off, zone) for zone in zones]
        if None not in ends:
            return moment, min(end for end in ends if end)
    return None


def candidate_zones(situation: Situation) -> frozenset[str]:
    """Where the client may be: the zone on record (the business's for a stranger) and those of the number."""
    on_record = situation.client.zone if situation.client and situation.client.zone else situation.business.zone
    try:
        of_number = number_zones.time_zones_for_number(phonenumbers.parse(situation.sender, None))
    except phonenumbers.NumberParseException:
        of_number = ()
    known = frozenset(of_number) - {"Etc/Unknown"}
    return frozenset({on_record}) | (known if len(known) <= TOO_MANY_ZONES else frozenset())


def _refusal(text: Text, situation: Situation, now: datetime) -> str:
    """Why the text may never leave; empty when it may."""
    agreed, client = situation.consent, situation.client
    reasons = {
        "opted out": text.consent != CREW and not agreed.reachable,
        f"no consent to {text.consent} texts": {SERVICE: not agreed.service, MARKETING: not agreed.marketing}.get(
            text.consent, False
        ),
        f"no more {text.kind} wanted": text.kind in agreed.ended_kinds,
        "the record is closed": text.consent in (SERVICE, MARKETING) and client is not None and bool(client.closed),
        "too late": text.not_after is not None and now >= text.not_after,
    }
    return next((why for why, holds in reasons.items() if holds), "")


def _openings(now: datetime, opens: time, zones: Iterable[ZoneInfo]) -> Iterator[datetime]:
    """Every moment of the next days at which the hours begin somewhere; by wall date, so clock changes are right."""
    for zone in zones:
        today = now.astimezone(zone).date()
        for days in range(DAYS_AHEAD):
            moment = datetime.combine(today + timedelta(days=days), opens, zone).astimezone(UTC)
            if moment > now:
                yield moment


def _end_of_hours(
    moment: datetime, hours: tuple[time, time], days_off: AbstractSet[int], zone: ZoneInfo
) -> datetime | None:
    """When the hours that hold `moment` in this zone end; None when it is no fit hour there."""
    day = moment.astimezone(zone).date()
    opens, closes = (datetime.combine(day, hour, zone).astimezone(UTC) for hour in hours)
    return closes if opens <= moment < closes and day.weekday() not in days_off else None
