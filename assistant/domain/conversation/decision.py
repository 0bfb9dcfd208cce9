"""What to say and what to change: written by `decide`, carried out by storage in the same transaction."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from assistant.domain.people import CareKind
from assistant.domain.understanding.reading import Evidence
from assistant.domain.visits import Slot, TimeWish


@dataclass(frozen=True, slots=True)
class OptOut:
    """The client wants no more texts: withdraw all consent and drop everything queued."""

    words: str
    confirm: bool
    """True when our own single confirmation goes out (the carrier did not already answer)."""


@dataclass(frozen=True, slots=True)
class OptIn:
    """Service texts are wanted again; marketing consent is never widened by this."""

    words: str


@dataclass(frozen=True, slots=True)
class EndKind:
    """The client wants no more nudges of one kind; the rest goes on."""

    kind: str


@dataclass(frozen=True, slots=True)
class Snooze:
    """Ask again later: nudges of `kind` rest until `until`."""

    kind: str
    until: date


@dataclass(frozen=True, slots=True)
class SetLanguage:
    """The client writes in this language: remember it."""

    language: str


@dataclass(frozen=True, slots=True)
class AskClient:
    """We wait for an answer; replaces any earlier open question. `data` must be JSON-able."""

    kind: str
    data: Mapping[str, Any]
    expires_at: datetime


@dataclass(frozen=True, slots=True)
class CloseQuestion:
    """The open question is answered or no longer of interest; holds it made are freed."""


@dataclass(frozen=True, slots=True)
class HandOver:
    """A person must see this. `reason` is a short id (topic or cause); `note` tells the detailer more."""

    reason: str
    urgent: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True)
class LogCare:
    """Record what was done to the finish (topper, harsh wash, strip ...)."""

    vessel_id: int
    kind: CareKind
    on: date
    area: Decimal = Decimal(1)
    substance: str = ""
    surface: str = ""


@dataclass(frozen=True, slots=True)
class HoldSlots:
    """Keep these offered times free for this client until `until`; earlier holds of the client are dropped."""

    slots: tuple[Slot, ...]
    until: datetime


@dataclass(frozen=True, slots=True)
class BookVisit:
    """Book the time. Storage raises SlotTaken when somebody else has it by now."""

    slot: Slot
    service: str
    vessel_ids: tuple[int, ...]
    place: str
    price: Decimal | None
    note: str = ""


@dataclass(frozen=True, slots=True)
class MoveVisit:
    """Move a visit to another time (SlotTaken as above); the calendar sequence goes up."""

    visit_id: int
    slot: Slot


@dataclass(frozen=True, slots=True)
class CallOffVisit:
    """Call a visit off; the calendar keeps it as cancelled for a while."""

    visit_id: int
    reason: str = ""


@dataclass(frozen=True, slots=True)
class JoinWaitingList:
    """Tell the client when a time that fits the wish comes free."""

    service: str
    vessel_ids: tuple[int, ...]
    wish: TimeWish


@dataclass(frozen=True, slots=True)
class ChangePlan:
    """Begin, pause, resume or finish a wash-and-topper plan. `to`: active, paused, finished."""

    to: str
    vessel_ids: tuple[int, ...]
    plan_id: int | None = None
    begins: date | None = None
    """The first due day, or the day a rest ends."""
    every_days: int | None = None
    service: str = ""


@dataclass(frozen=True, slots=True)
class NoteVessel:
    """Something learned about a vessel that is safe to store at once (a valid hull number, its length)."""

    vessel_id: int
    field: str
    value: str


Change = (
    OptOut | OptIn | EndKind | Snooze | SetLanguage | AskClient | CloseQuestion | HandOver | LogCare
    | HoldSlots | BookVisit | MoveVisit | CallOffVisit | JoinWaitingList | ChangePlan | NoteVessel
)


@dataclass(frozen=True, slots=True)
class Decision:
    """The outcome of one text. `replies` is empty where silence is right (carrier keywords, paused thread)."""

    replies: tuple[str, ...]
    changes: tuple[Change, ...] = ()
    asked: tuple[str, ...] = ()
    topic: str = ""
    verdict: str | None = None
    """yes, no or careful where "may I do or use this?" was asked, whatever the wording; else None."""
    certainty: float = 0.0
    evidence: tuple[Evidence, ...] = ()
    why: str = ""
    remember: Mapping[str, Any] | None = None
    """What a follow-up may need; kept with the turn."""

    @property
    def handover(self) -> HandOver | None:
        """The handover among the changes, if any."""
        return next((change for change in self.changes if isinstance(change, HandOver)), None)
