"""Thinks of every client whose moment has come: queues what helps now, writes down why the rest stays unsaid.

One transaction a client, so that neither planners nor incoming texts wait long for each other. Safe to run twice and
at several places at once: the client's thread is locked, every occasion and every text has a key of its own.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from assistant.assembly import Assistant
from assistant.domain import nudge_plan
from assistant.domain.consent import MONTH
from assistant.domain.conversation.scene import Scene
from assistant.domain.conversation.situation import InboundMessage, Situation
from assistant.domain.nudge_values import ONE_DAY, Outlook
from assistant.domain.nudges import foresee, reminder_of, thanks_for
from assistant.domain.people import Client
from assistant.domain.visits import VisitState
from assistant.storage import care, clients, nudges, outbox
from assistant.storage.database import Transaction
from assistant.storage.situations import load_situation

log = logging.getLogger(__name__)

AT_ONCE = 100
"""Vessels looked at in one round."""
REMIND_AHEAD = timedelta(hours=48)
THANK_BEHIND = timedelta(days=4)
TRY_AGAIN = timedelta(hours=6)
"""When a client is thought of again on whose records this program failed."""


def plan_nudges(app: Assistant, now: datetime) -> bool:
    """Plan for the clients whose moment has come. True when there may be more of them."""
    with app.database.reading(app.business.id) as tx:
        due = nudges.clients_due(tx, now, AT_ONCE)
    for client_id in due:
        try:
            _plan_for(app, client_id, now, even_if_not_due=False)
        except Exception:
            log.exception("nudges for client %s could not be planned; they are tried again later", client_id)
            _think_later(app, client_id, now)
    return len(due) > 0


def plan_visit_texts(app: Assistant, now: datetime) -> None:
    """Plan for the clients of visits of these days that nothing is on record about.

    Visits lead to their clients by their own index, so that a reminder does not hang on any vessel's moment.
    """
    with app.database.reading(app.business.id) as tx:
        waiting = _clients_of_visits(app, tx, now)
    for client_id in waiting:
        try:
            _plan_for(app, client_id, now, even_if_not_due=True)
        except Exception:
            log.exception("the visit texts of client %s could not be planned", client_id)


def outlook_for(app: Assistant, tx: Transaction, situation: Situation, now: datetime) -> Outlook:
    """All that decides which nudges the client of `situation` gets, in the client's language."""
    client = situation.client
    language = client.language if client and client.language else app.business.language
    gap = timedelta(days=app.business.nudge_gap_days)
    return nudges.outlook(tx, Scene(situation, app.knowledge, now, language), now - max(MONTH, gap))


def situation_of(app: Assistant, tx: Transaction, client: Client, now: datetime) -> Situation:
    """The client's situation on the channel we write on; the thread is locked until the transaction ends."""
    nobody_wrote = InboundMessage("", client.phone, app.business.number, "", channel=client.channel)
    return load_situation(tx, app.business, nobody_wrote, now, app.settings.public_url)


def _plan_for(app: Assistant, client_id: int, now: datetime, even_if_not_due: bool) -> None:
    with app.database.transaction(app.business.id) as tx:
        client = clients.find_client(tx, client_id)
        if client is None:
            return
        situation = situation_of(app, tx, client, now)
        seen = nudges.moments(tx, client_id)
        if not even_if_not_due and all(moment > now for moment in seen.values()):
            return  # another planner was here first
        view = outlook_for(app, tx, situation, now)
        found = foresee(view)
        on_record = nudges.log_of(tx, (one.occasion for one in nudge_plan.due_now(found, view.scene.today)))
        made = nudge_plan.plan(found, on_record, view)
        for text in made.texts:
            _queue(tx, client_id, situation.thread_id, text, now)
        for nudge, why in made.notes:
            if nudge.occasion not in on_record or on_record[nudge.occasion].outcome != why:
                nudges.keep(tx, client_id, nudges.Entry(nudge, why), now)
        for vessel_id, moment in seen.items():
            nudges.move_moment(tx, vessel_id, moment, made.moments.get(vessel_id))


def _queue(tx: Transaction, client_id: int, thread_id: int, text: nudge_plan.Planned, now: datetime) -> None:
    """Queue one text and tie its occasions to it."""
    about = {nudge.vessel.id for nudge in text.nudges if nudge.vessel}
    visit = next((nudge.visit for nudge in text.nudges if nudge.visit), None)
    about |= set(visit.vessel_ids) if visit else set()
    draft = outbox.Draft(
        thread_id=thread_id,
        consent=text.consent,
        kind=text.kind,
        text=text.text,
        dedupe_key=text.key,
        due_at=text.due_at,
        why=text.why,
        not_after=text.not_after,
        vessel_id=next(iter(about)) if len(about) == 1 else None,
        visit_id=visit.id if visit and visit.state is VisitState.BOOKED else None,
        data={"occasions": [nudge.occasion for nudge in text.nudges], "vessel_ids": sorted(about)},
    )
    outbox_id = outbox.enqueue(tx, draft, now)
    for nudge in text.nudges:
        outcome = "queued" if outbox_id else "said before"
        nudges.keep(tx, client_id, nudges.Entry(nudge, outcome, outbox_id), now)


def _clients_of_visits(app: Assistant, tx: Transaction, now: datetime) -> list[int]:
    """Clients with a visit to be reminded of tomorrow, or thanked for since yesterday, that nothing is on record about."""
    named: dict[str, int] = {}
    for visit in nudges.visits_near(tx, now - THANK_BEHIND, now + REMIND_AHEAD):
        zone = ZoneInfo(visit.zone or app.business.zone)
        today, begins, ends = (moment.astimezone(zone).date() for moment in (now, visit.begins_at, visit.ends_at))
        if visit.state == VisitState.BOOKED and visit.begins_at > now and begins <= today + ONE_DAY:
            named[reminder_of(visit.id, visit.begins_at)] = visit.client_id
        elif visit.state == VisitState.DONE and ends < today:
            named[thanks_for(visit.id)] = visit.client_id
    known = nudges.log_of(tx, named)
    return list(dict.fromkeys(client_id for occasion, client_id in named.items() if occasion not in known))


def _think_later(app: Assistant, client_id: int, now: datetime) -> None:
    """Put the client off, so that one bad record never keeps the others waiting."""
    with app.database.transaction(app.business.id) as tx:
        for vessel_id, moment in nudges.moments(tx, client_id).items():
            if moment <= now:
                nudges.move_moment(tx, vessel_id, moment, now + TRY_AGAIN)


def think_again(tx: Transaction, vessel_ids: Iterable[int], now: datetime) -> None:
    """Have these vessels thought of at the next chance."""
    for vessel_id in vessel_ids:
        care.mark_due(tx, vessel_id, now)
