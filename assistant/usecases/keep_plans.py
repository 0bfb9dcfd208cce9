"""Plans keep themselves: the next visit is booked ahead and its owner told; a plan at rest goes on when its day has come.

One transaction a plan. Safe to run twice and at several places at once: a due day is provided for once.
"""

from __future__ import annotations

import logging
from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from assistant.assembly import Assistant
from assistant.domain.conversation.booking_request import place_of, price_of, work_of
from assistant.domain.conversation.booking_texts import names_of, price_text, sentences, service_name, when_text
from assistant.domain.conversation.scene import Scene
from assistant.domain.conversation.situation import InboundMessage
from assistant.domain.errors import SlotTaken
from assistant.domain.plans import MONTHLY_DAYS, Due, Plan, next_due, resumes
from assistant.domain.slots import free_slots
from assistant.domain.visits import Slot
from assistant.storage import handovers, outbox, plans, visits
from assistant.storage.clients import find_client
from assistant.storage.database import AnyRow, Transaction
from assistant.storage.situations import load_situation
from assistant.storage.threads import thread_of_client

NO_TIME = "plan_no_time"
"""Reason of the handover when a plan's visit finds no free time."""
HORIZON = timedelta(days=60)

log = logging.getLogger(__name__)


def keep_plans(app: Assistant, now: datetime) -> int:
    """Book what is due in all plans. Returns how many visits were booked."""
    with app.database.reading(app.business.id) as tx:
        found = [_plan(app, row, boats) for row, boats in plans.plans_in(tx, "active", "paused")]
    booked = 0
    for plan in found:
        try:
            booked += _keep(app, plan, now)
        except SlotTaken:
            log.info("plan %s: somebody else took the time; it is looked for again in the next round", plan.id)
        except Exception:
            log.exception("plan %s could not be kept; it is tried again in the next round", plan.id)
    return booked


def _plan(app: Assistant, row: AnyRow, boats: tuple[int, ...]) -> Plan:
    begins = row.begins_on or row.created_at.astimezone(ZoneInfo(app.business.zone)).date()
    services = app.business.services
    service = row.service if row.service in services else next((id for id in ("topper", "wash") if id in services), "")
    return Plan(row.id, row.client_id, boats, service, row.every_days or MONTHLY_DAYS, begins, row.state)


def _keep(app: Assistant, plan: Plan, now: datetime) -> int:
    with app.database.transaction(app.business.id) as tx:
        client = find_client(tx, plan.client_id)
        if client is None or client.closed:
            return 0
        message = InboundMessage("", client.phone, app.business.number, "", channel=client.channel)
        situation = load_situation(tx, app.business, message, now, app.settings.public_url)
        scene = Scene(situation, app.knowledge, now, client.language)
        today = now.astimezone(ZoneInfo(app.business.zone)).date()
        if resumes(plan, today):
            plans.change_plan(tx, client.id, "active", (), now, plan_id=plan.id)
            plan = replace(plan, state="active")
        zone = ZoneInfo(app.business.zone)
        days = [visit.begins.astimezone(zone).date() for visit in visits.visits_of_plan(tx, plan.id)]
        boats = [vessel for vessel in situation.vessels if vessel.id in plan.vessel_ids]
        due = next_due(plan, days, boats, today) if boats else None
        return _book(app, tx, plan, due, scene, now) if due else 0


def _book(app: Assistant, tx: Transaction, plan: Plan, due: Due, scene: Scene, now: datetime) -> int:
    """Book the due visit and tell the owner; where that is not possible, a person looks, once for each due day."""
    service = app.business.services.get(plan.service)
    boats = [vessel for vessel in scene.situation.vessels if vessel.id in plan.vessel_ids]
    if service is None or not scene.situation.consent.service or any(vessel.length_ft is None for vessel in boats):
        return _ask_person(tx, plan, due, now)
    visits.take_turns(tx)
    today = now.astimezone(ZoneInfo(app.business.zone)).date()
    diary = visits.load_diary(tx, today, today + HORIZON, now, plan.client_id)
    slot = next(iter(free_slots(app.business, diary, work_of(service, boats, app.business), due.wish, now, 1)), None)
    if slot is None:
        return _ask_person(tx, plan, due, now)
    price = price_of(scene, service, boats)
    visit_id = visits.book_visit(
        tx, plan.client_id, slot, service.id, plan.vessel_ids, app.business.zone, now,
        place=place_of(boats, app.business), price=price.total if price else None, note="plan", plan_id=plan.id,
    )  # fmt: skip
    _tell(app, tx, plan, due, slot, visit_id, scene, now)
    return 1


def _tell(
    app: Assistant, tx: Transaction, plan: Plan, due: Due, slot: Slot, visit_id: int, scene: Scene, now: datetime
) -> None:
    service = app.business.services[plan.service]
    boats = [vessel for vessel in scene.situation.vessels if vessel.id in plan.vessel_ids]
    text = sentences(scene.say(
        "plan.booked", service=service_name(scene, service), vessel=names_of(scene, boats), when=when_text(scene, slot.begins),
        place=place_of(boats, app.business), price=price_text(scene, price_of(scene, service, boats)),
    ))  # fmt: skip
    draft = outbox.Draft(
        thread_id=thread_of_client(tx, plan.client_id, now), consent=outbox.SERVICE, kind="plan_visit", text=text,
        dedupe_key=f"plan:{plan.id}:{due.on.isoformat()}", due_at=now, not_after=slot.begins,
        why=f"plan {plan.id} is due on {due.on.isoformat()}", visit_id=visit_id,
    )  # fmt: skip
    outbox.enqueue(tx, draft, now)


def _ask_person(tx: Transaction, plan: Plan, due: Due, now: datetime) -> int:
    thread_id = thread_of_client(tx, plan.client_id, now)
    note = f"plan {plan.id}: no visit could be booked for {due.on.isoformat()}"
    if not any((one.thread_id, one.note) == (thread_id, note) for one in handovers.handovers_in(tx)):
        handovers.open_handover(tx, thread_id, NO_TIME, now, note=note)
    return 0
