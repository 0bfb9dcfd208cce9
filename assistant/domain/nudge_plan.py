"""What a client is told now: at most one nudge that counts, made of all that are due, within how often they may come.

Every occasion that is due gets either a text or a reason; the reason of today may be another one tomorrow.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from assistant.domain.consent import MARKETING, NUDGE, kinds_of, next_allowed
from assistant.domain.knowledge import Knowledge
from assistant.domain.nudge_texts import Composed, compose, text_of
from assistant.domain.nudge_values import ONE_DAY, PLANNED, Nudge, Outlook, moment_of, rules_of
from assistant.domain.nudges import foresee
from assistant.domain.texting_hours import next_window

ASK_AGAIN = timedelta(days=7)
"""How often a nudge that stays unsaid is thought of again while it would still help."""
BEFORE_VISIT = timedelta(hours=1)
OVER = "over"
NO_HOUR = "no hour is fit before it is too late"
NO_ROOM = "no room in one text with the others"


@dataclass(frozen=True, slots=True)
class Logged:
    """What is on record about an occasion: the outcome, and its text in the outbox."""

    outcome: str
    outbox_id: int | None = None
    dropped: bool = False
    """Its text was dropped before it left, so it may be said again."""

    @property
    def spent(self) -> bool:
        """True when it was said, or is about to be."""
        return self.outbox_id is not None and not self.dropped


@dataclass(frozen=True, slots=True)
class Planned:
    """One text to queue. Moments are UTC."""

    kind: str
    consent: str
    text: str
    nudges: tuple[Nudge, ...]
    key: str
    due_at: datetime
    not_after: datetime
    why: str


@dataclass(slots=True)
class Plan:
    """What to queue, what to note of the rest, and when each vessel is next worth a thought (None: not in sight)."""

    texts: list[Planned] = field(default_factory=list)
    notes: list[tuple[Nudge, str]] = field(default_factory=list)
    moments: dict[int, datetime | None] = field(default_factory=dict)


def due_now(nudges: Iterable[Nudge], today: date) -> list[Nudge]:
    """Those whose day has come, the weightiest first."""
    due = [nudge for nudge in nudges if nudge.due_on <= today]
    return sorted(due, key=lambda nudge: (PLANNED.index(nudge.kind), nudge.due_on, nudge.occasion))


def plan(nudges: Sequence[Nudge], log: Mapping[str, Logged], outlook: Outlook) -> Plan:
    """Decide on every occasion of one client. `log` holds what is on record about those that are due."""
    desk = _Desk(outlook, log)
    today = outlook.scene.today
    for nudge in nudges:
        if nudge.due_on > today:
            desk.think_again(nudge, moment_of(nudge.due_on, outlook.scene))
    waiting = []
    for nudge in due_now(nudges, today):
        if nudge.occasion in log and log[nudge.occasion].spent:
            continue
        if nudge.last_on < today:
            desk.note_over(nudge)
        elif nudge.silenced:
            desk.note(nudge, nudge.silenced, nudge.ask_again or outlook.scene.now + ASK_AGAIN)
        elif not desk.fits([nudge], desk.consent(nudge)):
            desk.note(nudge, NO_HOUR, outlook.scene.now + ONE_DAY)
        elif desk.counts(nudge.kind):
            waiting.append(nudge)
        else:
            desk.queue(Composed(text_of(nudge, outlook.scene), desk.consent(nudge), (nudge,)))
    if waiting:
        _say_together(waiting, desk)
    return desk.made


def counts(kind: str, consent: str, knowledge: Knowledge) -> bool:
    """Whether a text counts against how many may come: whatever sells does, other nudges as their files say."""
    return consent == MARKETING or any(_counts(name, knowledge) for name in kinds_of(kind))


def untrue(occasions: Iterable[str], outlook: Outlook) -> str:
    """Why a queued text that tells of these occasions should not leave any more; empty while all of it is true."""
    found = {nudge.occasion: nudge for nudge in foresee(outlook)}
    today = outlook.scene.today
    for occasion in occasions:
        nudge = found.get(occasion)
        if nudge is None or not nudge.due_on <= today <= nudge.last_on:
            return f"{occasion.partition('/')[0]} is not due any more"
        if nudge.silenced:
            return nudge.silenced
    return ""


def _say_together(nudges: Sequence[Nudge], desk: _Desk) -> None:
    """One text for all that are due, unless another one has just been sent or waits to be."""
    scene = desk.outlook.scene
    earlier = [one.at for one in desk.outlook.earlier if counts(one.kind, one.consent, scene.knowledge)]
    allowed = next_allowed(earlier, scene.now, scene.situation.business)
    if allowed > scene.now:
        for nudge in nudges:
            desk.note(nudge, f"waits until {allowed:%Y-%m-%d}: nudges come no closer together", allowed)
        return
    together = compose(nudges, scene, desk.outlook.marketed_before)
    if not desk.fits(together.nudges, together.consent):
        together = compose(nudges[:1], scene, desk.outlook.marketed_before)
    desk.queue(together)
    for nudge in nudges:
        if nudge not in together.nudges:
            desk.note(nudge, NO_ROOM, scene.now + timedelta(days=scene.situation.business.nudge_gap_days))


@dataclass(slots=True)
class _Desk:
    """Where one client's plan is written."""

    outlook: Outlook
    log: Mapping[str, Logged]
    made: Plan = field(default_factory=Plan)

    def __post_init__(self) -> None:
        self.made.moments.update({vessel.id: None for vessel in self.outlook.scene.situation.vessels})

    def counts(self, kind: str) -> bool:
        """Whether nudges of this kind count against how many may come."""
        return _counts(kind, self.outlook.scene.knowledge)

    def consent(self, nudge: Nudge) -> str:
        """What the client must have agreed to."""
        return self.outlook.scene.knowledge.nudges["en"][nudge.kind].consent

    def think_again(self, nudge: Nudge, moment: datetime) -> None:
        """Think of the nudge's vessels at `moment`, or before; in a minute if that has come already."""
        moment = max(moment, self.outlook.scene.now + timedelta(minutes=1))
        about = nudge.visit.vessel_ids if nudge.visit else (nudge.vessel.id,) if nudge.vessel else ()
        for vessel_id in about:
            if vessel_id in self.made.moments:
                self.made.moments[vessel_id] = min(self.made.moments[vessel_id] or moment, moment)

    def note(self, nudge: Nudge, why: str, again: datetime) -> None:
        """It stays unsaid for now, for this reason."""
        self.made.notes.append((nudge, why))
        self.think_again(nudge, again)

    def note_over(self, nudge: Nudge) -> None:
        """It would not help any more; the last reason stands."""
        before = self.log.get(nudge.occasion, Logged("first looked at too late")).outcome
        if not before.startswith(OVER):
            self.made.notes.append((nudge, f"{OVER} since {nudge.last_on}: {before}"))

    def fits(self, nudges: Sequence[Nudge], consent: str) -> bool:
        """True when a fit hour comes while all of them still help."""
        opens = self._opens(nudges, consent)
        return opens is not None and opens < min(self._last_moment(nudge) for nudge in nudges)

    def queue(self, composed: Composed) -> None:
        """Plan a text that fits for the next fit hour."""
        scene, lead = self.outlook.scene, composed.nudges[0]
        before = self.log.get(lead.occasion)
        key = f"nudge/{lead.occasion}" + (f"/after-{before.outbox_id}" if before and before.dropped else "")
        planned = Planned(
            kind=NUDGE + "+".join(composed.kinds),
            consent=composed.consent,
            text=composed.text,
            nudges=composed.nudges,
            key=key,
            due_at=self._opens(composed.nudges, composed.consent) or scene.now,
            not_after=min(self._last_moment(nudge) for nudge in composed.nudges),
            why="; ".join(_why(nudge, scene.name_of(nudge.vessel)) for nudge in composed.nudges),
        )
        self.made.texts.append(planned)

    def _opens(self, nudges: Sequence[Nudge], consent: str) -> datetime | None:
        """The next fit hour, and not before the hour at which these nudges are thought of."""
        scene = self.outlook.scene
        begin = max(scene.now, *(moment_of(nudge.due_on, scene) for nudge in nudges))
        window = next_window(begin, consent, scene.situation, scene.knowledge)
        return window[0] if window else None

    def _last_moment(self, nudge: Nudge) -> datetime:
        """The end of the last day on which it helps; before a visit, an hour before it begins."""
        zone = ZoneInfo(self.outlook.scene.zone)
        end = datetime.combine(nudge.last_on + ONE_DAY, time(), zone).astimezone(UTC)
        return min(end, nudge.visit.begins - BEFORE_VISIT) if nudge.kind == "visit_reminder" and nudge.visit else end


def _counts(kind: str, knowledge: Knowledge) -> bool:
    text = knowledge.nudges.get("en", {}).get(kind)
    return text is not None and rules_of(text).counts


def _why(nudge: Nudge, vessel: str) -> str:
    """One line for the detailer: which rule, which record."""
    if nudge.visit:
        about = f"visit {nudge.visit.id} of {nudge.visit.begins:%Y-%m-%d %H:%M} UTC"
    elif nudge.event:
        about = f"{vessel}, {nudge.event.substance or nudge.event.kind} on {nudge.event.on}"
    elif nudge.coat:
        life = nudge.coat.life
        about = f"{vessel}, {life.application.coating} of {life.application.applied_on}, due about {life.due_on}"
    else:
        about = vessel
    return f"{nudge.kind} due {nudge.due_on}: {about}"
