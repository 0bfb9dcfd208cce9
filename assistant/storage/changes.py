"""Carries out what a decision says shall change: one short function for each kind of change."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal, InvalidOperation
from functools import singledispatch
from typing import Any

from assistant.domain.conversation import decision as d
from assistant.domain.conversation.situation import Situation
from assistant.domain.people import CareEvent, Client, Kept
from assistant.storage import care, clients, handovers, outbox, plans, threads, visits
from assistant.storage.database import Transaction

OWNER_MAY_TELL = frozenset({"hin", "length_ft", "name", "boat_type", "water", "place", "kept"})
"""Columns of a vessel that an owner's word alone may write."""


@dataclass(frozen=True, slots=True)
class Ground:
    """What a change is carried out on."""

    tx: Transaction
    situation: Situation
    message_id: int | None
    now: datetime

    @property
    def thread_id(self) -> int:
        """The thread of the text."""
        return self.situation.thread_id

    @property
    def client(self) -> Client:
        """The client; asking for one where there is none is a mistake of the decision."""
        if self.situation.client is None:
            raise LookupError("this change needs a client, and the sender is not known")
        return self.situation.client


def carry_out(
    tx: Transaction, changes: Iterable[d.Change], situation: Situation, message_id: int | None, now: datetime
) -> None:
    """Write every change, in order. Raises SlotTaken when a wanted time is gone; the caller undoes the whole."""
    ground = Ground(tx, situation, message_id, now)
    for change in changes:
        _write(change, ground)


@singledispatch
def _write(change: Any, ground: Ground) -> None:
    raise TypeError(f"nobody carries out {change!r}")


@_write.register
def _opt_out(change: d.OptOut, ground: Ground) -> None:
    silenced = threads.opt_out(ground.tx, ground.thread_id, change.words, ground.message_id, ground.now)
    outbox.drop_queued(ground.tx, "opted out", thread_ids=silenced)
    for thread_id in silenced:
        plans.leave_waiting_list(ground.tx, thread_id)


@_write.register
def _opt_in(change: d.OptIn, ground: Ground) -> None:
    threads.opt_in(ground.tx, ground.thread_id, change.words, ground.message_id, ground.now)


@_write.register
def _end_kind(change: d.EndKind, ground: Ground) -> None:
    silenced = threads.end_kind(ground.tx, ground.thread_id, change.kind, ground.message_id, ground.now)
    outbox.drop_queued(ground.tx, f"no more {change.kind} wanted", thread_ids=silenced, kind=change.kind)


@_write.register
def _snooze(change: d.Snooze, ground: Ground) -> None:
    threads.snooze(ground.tx, ground.client.id, change.kind, change.until)
    outbox.drop_queued(ground.tx, f"rests until {change.until}", thread_ids=[ground.thread_id], kind=change.kind)
    for vessel in ground.situation.vessels:
        care.mark_due(ground.tx, vessel.id, ground.now)


@_write.register
def _set_language(change: d.SetLanguage, ground: Ground) -> None:
    if ground.situation.client:
        clients.change_client(ground.tx, ground.client.id, language=change.language)


@_write.register
def _ask_client(change: d.AskClient, ground: Ground) -> None:
    visits.free_holds(ground.tx, ground.thread_id, but_not_of=ground.message_id)
    handovers.ask_client(
        ground.tx, ground.thread_id, change.kind, change.data, change.expires_at, ground.now, ground.message_id
    )


@_write.register
def _close_question(change: d.CloseQuestion, ground: Ground) -> None:
    visits.free_holds(ground.tx, ground.thread_id, but_not_of=ground.message_id)
    handovers.close_question(ground.tx, ground.thread_id, ground.now)


@_write.register
def _hand_over(change: d.HandOver, ground: Ground) -> None:
    handovers.open_handover(
        ground.tx,
        ground.thread_id,
        change.reason,
        ground.now,
        urgent=change.urgent,
        note=change.note,
        message_id=ground.message_id,
    )


@_write.register
def _log_care(change: d.LogCare, ground: Ground) -> None:
    event = CareEvent(0, change.vessel_id, change.kind, change.on, change.area, change.substance, change.surface)
    care.add_event(ground.tx, event, ground.now, ground.message_id)


@_write.register
def _hold_slots(change: d.HoldSlots, ground: Ground) -> None:
    visits.hold_slots(ground.tx, ground.thread_id, change.slots, change.until, ground.now, ground.message_id)


@_write.register
def _book_visit(change: d.BookVisit, ground: Ground) -> None:
    visits.free_holds(ground.tx, ground.thread_id)
    visits.book_visit(
        ground.tx,
        ground.client.id,
        change.slot,
        change.service,
        change.vessel_ids,
        ground.situation.business.zone,
        ground.now,
        place=change.place,
        price=change.price,
        note=change.note,
    )
    plans.leave_waiting_list(ground.tx, ground.thread_id, change.service)
    _think_again(ground, change.vessel_ids)


@_write.register
def _move_visit(change: d.MoveVisit, ground: Ground) -> None:
    visits.free_holds(ground.tx, ground.thread_id)
    visits.move_visit(ground.tx, change.visit_id, change.slot, ground.now)
    outbox.drop_queued(ground.tx, "the visit was moved", visit_id=change.visit_id)
    _think_again(ground, _boats_of(ground, change.visit_id))


@_write.register
def _call_off_visit(change: d.CallOffVisit, ground: Ground) -> None:
    visits.call_off_visit(ground.tx, change.visit_id, change.reason, ground.now)
    outbox.drop_queued(ground.tx, "the visit was called off", visit_id=change.visit_id)
    _think_again(ground, _boats_of(ground, change.visit_id))


@_write.register
def _join_waiting_list(change: d.JoinWaitingList, ground: Ground) -> None:
    plans.join_waiting_list(ground.tx, ground.thread_id, change.service, change.vessel_ids, change.wish, ground.now)


@_write.register
def _change_plan(change: d.ChangePlan, ground: Ground) -> None:
    told = {"begins_on": change.begins, "every_days": change.every_days, "service": change.service}
    details = {name: value for name, value in told.items() if value}
    plans.change_plan(
        ground.tx,
        ground.client.id,
        change.to,
        change.vessel_ids,
        ground.now,
        plan_id=change.plan_id,
        **details,
    )
    _think_again(ground, change.vessel_ids)


@_write.register
def _note_vessel(change: d.NoteVessel, ground: Ground) -> None:
    if change.field not in OWNER_MAY_TELL:
        raise ValueError(f"an owner's word does not write {change.field}")
    value = _READ.get(change.field, str)(change.value)
    care.change_vessel(ground.tx, change.vessel_id, ground.now, **{change.field: value})


def _feet(text: str) -> Decimal:
    try:
        return Decimal(text)
    except InvalidOperation:
        raise ValueError(f"{text!r} is no length in feet") from None


_READ: dict[str, Any] = {"length_ft": _feet, "kept": lambda text: Kept(text).value}


def _boats_of(ground: Ground, visit_id: int) -> tuple[int, ...]:
    visit = next((visit for visit in ground.situation.visits if visit.id == visit_id), None)
    return visit.vessel_ids if visit else ()


def _think_again(ground: Ground, vessel_ids: Iterable[int]) -> None:
    """A visit made, moved or gone changes which nudges are right."""
    for vessel_id in vessel_ids:
        care.mark_due(ground.tx, vessel_id, ground.now)
