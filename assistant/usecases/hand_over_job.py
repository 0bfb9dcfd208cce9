"""A finished job is handed over: written down, the visit closed, consent kept, and the care pack on its way.

`hand_over_job` does all of it; `queue_care_pack` is for those who have written the job down in a transaction of theirs.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from assistant.assembly import Assistant
from assistant.domain.care_pack import KIND, care_pack, finished_at, needs_care
from assistant.domain.consent import NUDGE, SERVICE, refusal
from assistant.domain.conversation.scene import Scene
from assistant.domain.conversation.situation import Situation
from assistant.domain.people import Application, CareEvent, CareKind, Client
from assistant.domain.texting_hours import next_window
from assistant.domain.visits import VisitState
from assistant.storage import care, clients, jobs, outbox, threads, visits
from assistant.storage.database import Transaction
from assistant.usecases.plan_nudges import situation_of

WORTH_SAYING = timedelta(days=7)
"""Later than this after the job the care pack is no news any more."""


@dataclass(frozen=True, slots=True)
class Agreed:
    """What a client agreed to at the hand-over, how, in which words, and who noted it."""

    service: bool
    marketing: bool
    medium: str
    wording: str
    noted_by: str = ""


@dataclass(frozen=True, slots=True)
class FinishedJob:
    """One job on one vessel. `coats` are (surface, coating) ids; `finished_at` is aware.

    `grade` is what the flashlight test said (sharp, soft, chalky) of a finish that was only looked at.
    """

    client_id: int
    vessel_id: int
    finished_at: datetime
    coats: tuple[tuple[str, str], ...] = ()
    service: str = ""
    visit_id: int | None = None
    place: str = ""
    note: str = ""
    product: str = ""
    done_by: str = ""
    price: Decimal | None = None
    grade: str = ""
    agreed: Agreed | None = None


@dataclass(frozen=True, slots=True)
class HandedOver:
    """The job's number and its care pack: the text that is queued, or why there is none."""

    job_id: int
    text: str = ""
    why_none: str = ""
    repeated: bool = False


def hand_over_job(app: Assistant, job: FinishedJob, now: datetime) -> HandedOver:
    """Write a finished job down, once, and queue its care pack. LookupError when boat and client don't belong together."""
    with app.database.transaction(app.business.id) as tx:
        client = clients.find_client(tx, job.client_id)
        if client is None:
            raise LookupError(f"there is no client {job.client_id}")
        situation = situation_of(app, tx, client, now)
        if job.vessel_id not in {vessel.id for vessel in situation.vessels}:
            raise LookupError(f"vessel {job.vessel_id} is not one of client {job.client_id}")
        known = jobs.find_job(tx, job.vessel_id, job.finished_at, job.service)
        if known is not None:
            return HandedOver(known, why_none="handed over before", repeated=True)
        job_id = _write_down(app, tx, job, now)
        if job.agreed:
            _keep_consent(tx, situation, client, job.agreed, now)
        text, why_none = queue_care_pack(app, tx, client.id, job_id, now)
        return HandedOver(job_id, text, why_none)


def queue_care_pack(app: Assistant, tx: Transaction, client_id: int, job_id: int, now: datetime) -> tuple[str, str]:
    """Queue the care pack of a job that is written down: (text, "") or ("", why there is none). Safe to repeat."""
    client = clients.find_client(tx, client_id)
    if client is None:
        return "", "the client is not on record"
    situation = situation_of(app, tx, client, now)
    coats = [one for one in situation.applications if one.job_id == job_id]
    vessel = next((one for one in situation.vessels if coats and one.id == coats[0].vessel_id), None)
    if vessel is None or not needs_care(coats):
        return "", "nothing was put on that needs care"
    why_none = refusal(KIND, SERVICE, situation)
    window = next_window(now, SERVICE, situation, app.knowledge)
    last = max(finished_at(one, app.business.zone) for one in coats) + WORTH_SAYING
    if why_none or window is None or window[0] >= last:
        return "", why_none or "no hour is fit before it is too late"
    language = client.language or app.business.language
    text = care_pack(Scene(situation, app.knowledge, window[0], language), vessel, coats)
    draft = outbox.Draft(
        thread_id=situation.thread_id,
        consent=SERVICE,
        kind=NUDGE + KIND,
        text=text,
        dedupe_key=f"{KIND}/{job_id}",
        due_at=window[0],
        why=f"care pack of job {job_id} on {vessel.name or 'the boat'}",
        not_after=last,
        vessel_id=vessel.id,
        data={"vessel_ids": [vessel.id]},
    )
    outbox.enqueue(tx, draft, now)
    return text, ""


def _write_down(app: Assistant, tx: Transaction, job: FinishedJob, now: datetime) -> int:
    on = job.finished_at.astimezone(ZoneInfo(app.business.zone)).date()
    if job.visit_id is not None:
        visit = visits.find_visit(tx, job.visit_id)
        if visit and visit.state is VisitState.BOOKED:
            visits.finish_visit(tx, job.visit_id, now)
    job_id = care.add_job(
        tx, job.client_id, job.vessel_id, on, now, service=job.service, visit_id=job.visit_id,
        finished_at=job.finished_at, place=job.place, note=job.note, price=job.price, done_by=job.done_by,
    )  # fmt: skip
    for surface, coating in job.coats:
        coat = Application(0, job.vessel_id, surface, coating, on, job.finished_at, job_id)
        care.add_application(tx, coat, now, job.product)
    if job.grade:
        look = CareEvent(0, job.vessel_id, CareKind.INSPECTION, on, grade=job.grade)
        care.add_event(tx, look, now, job_id=job_id)
    care.mark_due(tx, job.vessel_id, now)
    return job_id


def _keep_consent(tx: Transaction, situation: Situation, client: Client, agreed: Agreed, now: datetime) -> None:
    """Note both consents as given or refused; an opt-out stays one until the client lifts it by text."""
    thread_id = situation.thread_id or threads.thread_of_client(tx, client.id, now)
    for kind, given in (("service", agreed.service), ("marketing", agreed.marketing)):
        threads.record_consent(
            tx, thread_id, kind, now, given=given, medium=agreed.medium, wording=agreed.wording,
            noted_by=agreed.noted_by,
        )  # fmt: skip
