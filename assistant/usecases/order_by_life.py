"""Which boat's coat ends first: kept in memory, worked out anew only for boats about which something was written.

Every write that can change when a coat ends moves the boat's mark in `next_due`, so comparing marks finds them all.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from threading import Lock, Thread

from assistant.assembly import Assistant
from assistant.storage.lists import boat_marks
from assistant.usecases.show_boats import boats_of

AT_ONCE = 100
"""Owners whose boats are worked out for one page view; the rest follow in the background."""


class LifeOrder:
    """The day each boat's first coat ends. Safe to share between threads."""

    def __init__(self, app: Assistant) -> None:
        self._app = app
        self._lock = Lock()
        self._knew: object = None
        self._marks: Mapping[int, tuple[int, str]] = {}
        self._due: dict[int, tuple[str, date | None]] = {}
        self._working = False

    def first_to_last(self, today: date, among: Iterable[int] | None = None) -> tuple[list[int], int]:
        """Boats by the day their coat ends (those without a coat last), and how many are still being worked out."""
        with self._lock:
            left = self._refresh(today)
            wanted = self._marks.keys() if among is None else self._marks.keys() & set(among)
            far = date.max
            ordered = sorted(wanted, key=lambda id_: (self._due.get(id_, ("", None))[1] or far, id_))
        return ordered, left

    def due_days(self, today: date) -> list[date]:
        """The day on which each boat's first coat ends, as far as worked out."""
        with self._lock:
            self._refresh(today)
            return [due for _, due in self._due.values() if due is not None]

    def _refresh(self, today: date) -> int:
        knows = (self._app.knowledge.stamp, self._app.business)
        if knows != self._knew:
            self._knew, self._due = knows, {}
        with self._app.database.reading(self._app.business.id) as tx:
            self._marks = boat_marks(tx)
        stale = [id_ for id_, (_, mark) in self._marks.items() if self._due.get(id_, ("",))[0] != mark]
        owners = list(dict.fromkeys(self._marks[id_][0] for id_ in stale))
        self._work_out(owners[:AT_ONCE], today)
        if owners[AT_ONCE:] and not self._working:
            self._working = True
            Thread(target=self._rest, args=(owners[AT_ONCE:], today), daemon=True).start()
        known = self._due
        return sum(known.get(id_, ("",))[0] != mark for id_, (_, mark) in self._marks.items())

    def _rest(self, owners: list[int], today: date) -> None:
        try:
            for part in _in_parts(owners):
                with self._lock:
                    self._work_out(part, today)
        finally:
            self._working = False

    def _work_out(self, owners: list[int], today: date) -> None:
        with self._app.database.reading(self._app.business.id) as tx:
            for id_, boat in boats_of(self._app, tx, owners, today).items():
                if id_ in self._marks:
                    self._due[id_] = (self._marks[id_][1], boat.base.due_on if boat.base else None)


def _in_parts(owners: list[int]) -> Iterator[list[int]]:
    for begin in range(0, len(owners), AT_ONCE):
        yield owners[begin : begin + AT_ONCE]
