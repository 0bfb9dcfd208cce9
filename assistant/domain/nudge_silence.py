"""Why a nudge that has come due stays unsaid: not agreed to, put off, answered by a visit, or of no use just now."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from assistant.domain.coatings import Stage
from assistant.domain.consent import named_by, refusal
from assistant.domain.conversation.scene import Scene
from assistant.domain.nudge_values import ONE_DAY, Nudge, Outlook, Rules, moment_of
from assistant.domain.visits import VisitState

STANDARD_WORK = frozenset({"wash", "topper", "reseal"})
"""Services we know the meaning of; any other counts as `other`, work big enough to speak of the finish there."""
JUST_BEEN = timedelta(days=21)
"""A visit so short ago still answers, even where nobody has written down what was put on."""
LONG_AGO = date(1970, 1, 1)
LATER_STAGES = {
    "reseal_soon": ("reseal_due", "reseal_overdue"),
    "reseal_due": ("reseal_overdue",),
    "first_topper": ("monthly_topper",),
}


def silence(nudge: Nudge, rules: Rules, outlook: Outlook, others: Iterable[Nudge]) -> Nudge:
    """The nudge with the first reason why it stays unsaid."""
    scene = outlook.scene
    situation = scene.situation
    refused = refusal(nudge.kind, scene.knowledge.nudges["en"][nudge.kind].consent, situation)
    if refused:
        return replace(nudge, silenced=refused)
    put_off = put_off_to(nudge, rules, outlook)
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


def put_off_to(nudge: Nudge, rules: Rules, outlook: Outlook) -> date | None:
    """The day until which the client wants to hear no more of this; what a visit needs is never put off."""
    if not rules.counts:
        return None
    return max((outlook.snoozes[kind] for kind in named_by(nudge.kind, outlook.snoozes)), default=None)
