"""Whether a text that we begin ourselves may leave at this moment. Asked again right before every sending.

First what the client agreed to, then how often we have written lately, then the hour (see `texting_hours`). An answer
to the client's own text and a text to our own people may leave at any hour.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Protocol

from assistant.domain.business import Business
from assistant.domain.conversation.situation import Situation
from assistant.domain.knowledge import Knowledge
from assistant.domain.texting_hours import candidate_zones, next_window

REPLY, SERVICE, MARKETING, CREW = "reply", "service", "marketing", "crew"
"""What a text needs: nothing of its own for answers and for our own people, else one of the two consents."""

AT_ANY_HOUR = frozenset({REPLY, CREW})
NUDGE = "nudge:"
"""Kinds of texts of ours that the client can end, put off or answer with "done" begin with this."""
FAMILIES = (
    frozenset({"topper", "first_topper", "monthly_topper"}),
    frozenset({"reseal", "reseal_soon", "reseal_due", "reseal_overdue"}),
    frozenset({"layup", "launch"}),
    frozenset({"check_in", "thanks_after_visit"}),
)
"""Kinds that a client means together: who wants no more of one wants no more of all of them."""
LAST_WORD = "number_closed"
"""The one kind that a closed record still gets, where a polite word is right at all."""
TOLD_OF_CLOSING = frozenset({"sold", "moved"})
MONTH = timedelta(days=30)


@dataclass(frozen=True, slots=True)
class Go:
    """It may leave now, and be held by the carrier until `until` at most (None: as long as it likes)."""

    until: datetime | None = None


@dataclass(frozen=True, slots=True)
class Wait:
    """Not at this moment: ask again at `until`."""

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


def may_send(
    text: Text, situation: Situation, knowledge: Knowledge, now: datetime, earlier: Sequence[datetime] = ()
) -> Go | Wait | Drop:
    """Go, wait or drop, for `text` to the sender of `situation`.

    `earlier` are the moments at which other nudges that count left or may have left; empty for a text that is none.
    """
    reason = refusal(text.kind, text.consent, situation) or _too_late(text, now)
    if reason:
        return Drop(reason)
    if text.not_before and now < text.not_before:
        return Wait(text.not_before)
    if text.consent in AT_ANY_HOUR:
        return Go(text.not_after)
    allowed = next_allowed(earlier, now, situation.business)
    window = next_window(max(now, allowed), text.consent, situation, knowledge)
    if window is None:
        return Drop(f"no hour is fit in all of {', '.join(sorted(candidate_zones(situation)))}")
    opens, closes = window
    if now < opens:
        return Wait(opens)
    return Go(min(closes, text.not_after) if text.not_after else closes)


def refusal(kind: str, consent: str, situation: Situation) -> str:
    """Why a text of this kind may not be sent, whatever the hour; empty when it may."""
    agreed, client = situation.consent, situation.client
    closed = client.closed if client else None
    last_word = kinds_of(kind) == (LAST_WORD,) and closed in TOLD_OF_CLOSING
    given = {SERVICE: agreed.service, MARKETING: agreed.marketing}.get(consent, True)
    reasons = {
        "opted out": consent != CREW and not agreed.reachable,
        f"no consent to {consent} texts": not given,
        f"no more {kind.removeprefix(NUDGE)} wanted": consent != REPLY and ended(kind, consent, agreed.ended_kinds),
        "the record is closed": consent in (SERVICE, MARKETING) and bool(closed) and not last_word,
    }
    return next((why for why, holds in reasons.items() if holds), "")


def next_allowed(earlier: Sequence[datetime], now: datetime, business: Business) -> datetime:
    """From when another nudge may leave: one in `nudge_gap_days`, `nudges_per_month` in any thirty days."""
    if not earlier:
        return now
    by_gap = max(earlier) + timedelta(days=business.nudge_gap_days)
    lately = sorted(earlier)[-business.nudges_per_month :] if business.nudges_per_month else []
    by_month = lately[0] + MONTH if len(lately) == business.nudges_per_month and lately else now
    return max(now, by_gap, by_month)


def kinds_of(kind: str) -> tuple[str, ...]:
    """The kinds a text tells of: one name, or several joined by + where several were due at once."""
    return tuple(kind.removeprefix(NUDGE).split("+"))


def ended(kind: str, consent: str, ended_kinds: Iterable[str]) -> bool:
    """True when the client wants no more texts of this kind, of its family, or of this consent."""
    return bool(named_by(kind, ended_kinds)) or (consent == MARKETING and MARKETING in ended_kinds)


def named_by(kind: str, said: Iterable[str]) -> tuple[str, ...]:
    """Those of the kinds a client spoke of that mean a text of this `kind`, or its family."""
    meant = set(kinds_of(kind))
    meant |= {name for family in FAMILIES if family & meant for name in family}
    return tuple(name for name in said if meant & set(kinds_of(name)))


def _too_late(text: Text, now: datetime) -> str:
    return "too late" if text.not_after is not None and now >= text.not_after else ""
