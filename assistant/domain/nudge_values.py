"""The values that nudges are thought of in: the rules of a file, a coat, one nudge, and a client's whole outlook."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from assistant.domain.coatings import Life
from assistant.domain.conversation.scene import Scene
from assistant.domain.knowledge import Coating, NudgeText
from assistant.domain.people import CareEvent, Vessel
from assistant.domain.visits import Visit

PLANNED = (
    "after_harsh", "reseal_overdue", "reseal_due", "launch", "layup", "reseal_soon", "first_topper", "monthly_topper",
    "check_in", "thanks_after_visit", "visit_reminder",
)  # fmt: skip
"""Kinds that the calendar brings, the weightiest first: it leads when several are due."""
OPT_OUT_LINE = "opt_out_line"
CARE_PACK_PARTS = ("coat", "keep_dry", "no_soap", "soap", "topper", "reseal", "reseal_at_layup", "wax")
"""Sentences of the care pack's file; each is said where it applies."""
KINDS = (*PLANNED, "care_pack", "number_closed", OPT_OUT_LINE)
ONE_DAY = timedelta(days=1)


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


def moment_of(day: date, scene: Scene) -> datetime:
    """When nudges of that wall day are thought of (UTC): at the hour at which texts of the widest kind may leave."""
    hour = scene.situation.business.marketing_window[0]
    return datetime.combine(day, hour, ZoneInfo(scene.zone)).astimezone(UTC)
