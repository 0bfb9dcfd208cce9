"""What every page of the crew shares: the assistant, the clock, who is signed in, and how things are said."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from flask import abort, g, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from assistant.assembly import Assistant
from assistant.domain.wording import day_text, time_text, weekday_text
from assistant.storage.crew import Account
from assistant.storage.database import Transaction

DONE = {
    "answered": "Your answer is on its way.",
    "closed": "Put aside without an answer.",
    "given_back": "The assistant answers in this conversation again.",
    "paused": "You have this conversation: the assistant stays quiet.",
    "booked": "Booked.",
    "moved": "The visit is moved.",
    "called_off": "The visit is called off.",
    "weather": "Weather day: the visits are moved or called off as shown.",
    "blocked": "That time is blocked.",
    "freed": "That time is free again.",
    "dropped": "That text stays here.",
    "saved": "Saved and in use.",
    "taken": "The file is taken over.",
    "added": "Added.",
    "recorded": "The job is on record.",
    "care_pack": "The job is on record and the care pack is on its way.",
    "noted": "Noted.",
    "signed_out": "You are signed out.",
    "shut": "Done. They are signed out everywhere.",
    "nothing": "Nothing was changed.",
}
"""What a page may say after something was done: the address carries only the id."""


@dataclass(frozen=True, slots=True)
class Door:
    """Handed to every group of pages."""

    assistant: Assistant
    clock: Callable[[], datetime]

    @property
    def now(self) -> datetime:
        """This moment, UTC."""
        return self.clock()

    @property
    def today(self) -> date:
        """Today where the business is."""
        return self.now.astimezone(ZoneInfo(self.assistant.business.zone)).date()

    def reading(self) -> AbstractContextManager[Transaction]:
        """A transaction that only reads."""
        return self.assistant.database.reading(self.assistant.business.id)

    def writing(self) -> AbstractContextManager[Transaction]:
        """A transaction that writes."""
        return self.assistant.database.transaction(self.assistant.business.id)


@dataclass(frozen=True, slots=True)
class Say:
    """How days, times and money are written on the pages; `say` in every template."""

    door: Door

    def day(self, day: date | datetime | None) -> str:
        """'Tue, Jun 9'; with the year when it is not this one's."""
        if day is None:
            return ""
        if isinstance(day, datetime):
            day = self._local(day).date()
        return f"{weekday_text(day, 'en')[:3]}, {day_text(day, 'en', self.door.today)}"

    def time(self, moment: datetime, zone: str = "") -> str:
        """'9:30 am' where the business is, or in `zone`."""
        return time_text(moment, zone or self.door.assistant.business.zone, "en")

    def moment(self, moment: datetime | None) -> str:
        """Day and time."""
        return f"{self.day(moment)}, {self.time(moment)}" if moment else ""

    def ago(self, moment: datetime) -> str:
        """How long ago, in the largest unit that fits."""
        minutes = max(0, int((self.door.now - moment).total_seconds() // 60))
        if minutes < 60:
            return f"{minutes} min"
        if minutes < 48 * 60:
            return f"{minutes // 60} h"
        return f"{minutes // 1440} days"

    def money(self, amount: Decimal | None) -> str:
        """'640 USD'."""
        if amount is None:
            return ""
        whole = amount == amount.to_integral_value()
        return f"{amount:,.0f}" + " " + self._currency if whole else f"{amount:,.2f} {self._currency}"

    def name(self, table: str, id: str) -> str:
        """How a coating, surface or substance is called."""
        return self.door.assistant.knowledge.named(table, id, "en")

    def service(self, id: str) -> str:
        """How a kind of work is called."""
        service = self.door.assistant.business.services.get(id)
        return (service.name.get("en") or next(iter(service.name.values()), id)) if service else id.replace("_", " ")

    @property
    def _currency(self) -> str:
        return self.door.assistant.business.prices.currency

    def _local(self, moment: datetime) -> datetime:
        return moment.astimezone(ZoneInfo(self.door.assistant.business.zone))


def page(template: str, title: str, /, **values: Any) -> str:
    """Render one page."""
    return render_template(f"crew/{template}.html", title=title, done=DONE.get(request.args.get("done", "")), **values)


def back_to(endpoint: str, done: str = "", /, **values: Any) -> ResponseReturnValue:
    """Send the browser on with a GET, so that reloading does nothing twice. `done` is an id of DONE."""
    return redirect(url_for(f"crew.{endpoint}", done=done or None, **values), code=303)


def me() -> Account:
    """Who is signed in."""
    account: Account | None = g.get("account")
    if account is None:
        abort(401)
    return account


def only(*roles: str) -> None:
    """403 for everybody else."""
    if me().role not in roles:
        abort(403)


def found(value: Any) -> Any:
    """The value, or 404 when there is none."""
    if value is None:
        abort(404)
    return value


def number_of(name: str, default: int | None = None) -> int | None:
    """A whole number from the address."""
    written = request.args.get(name, "")
    return int(written) if written.isdecimal() and len(written) < 12 else default


def day_of(written: str) -> date | None:
    """A day written as in an address or a date field; None when it is none."""
    try:
        return date.fromisoformat(written)
    except ValueError:
        return None


def field(name: str, longest: int = 1000) -> str:
    """A field of the form, without blanks at its ends; 400 when it is far too long."""
    written = request.form.get(name, "").replace("\r\n", "\n").strip()
    if len(written) > longest:
        abort(400, f"{name} is too long")
    return written
