"""A client spreadsheet (CSV, a row for each coating on each surface) as values; every bad cell is named."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from assistant.domain.errors import ImportRefused, Problem
from assistant.storage.cells import COLUMNS, BadCell, Known, read_cell

CLIENT = ("name", "language", "service_consent", "marketing_consent", "consent_on", "consent_how")
VESSEL = (
    "hin", "length_ft", "boat_type", "water", "place", "kept", "season_from", "season_to", "kept_off_season",
)  # fmt: skip
NEEDS = (
    ("vessel", (*VESSEL, "surface", "coating", "applied_on"), "name the vessel, or leave its other cells blank"),
    ("surface", ("coating", "applied_on"), "name the surface that was coated"),
    ("coating", ("surface", "applied_on"), "name the coating: wax, sealant, ceramic or topper"),
    ("applied_on", ("surface", "coating"), "write the day it was applied, like 2027-05-04"),
    ("season_to", ("season_from",), "write the last day of the season as MM-DD"),
    ("season_from", ("season_to", "kept_off_season"), "write the first day of the season as MM-DD"),
)
"""A column, the columns that make no sense without it, and what to do."""


@dataclass(slots=True)
class SheetVessel:
    """A vessel as the sheet describes it: only what some cell says. `coats` are (surface, coating, day)."""

    name: str
    facts: dict[str, Any] = field(default_factory=dict)
    coats: list[tuple[str, str, date]] = field(default_factory=list)


@dataclass(slots=True)
class SheetClient:
    """A client as the sheet describes them: only what some cell says."""

    phone: str
    facts: dict[str, Any] = field(default_factory=dict)
    vessels: dict[str, SheetVessel] = field(default_factory=dict)
    """By name in lower case."""


@dataclass(slots=True)
class _Reader:
    file: str
    known: Known
    problems: list[Problem] = field(default_factory=list)
    clients: dict[str, SheetClient] = field(default_factory=dict)
    said_in: dict[tuple[Any, ...], int] = field(default_factory=dict)
    """Where a fact was said first: (phone, vessel, column) -> row."""

    def complain(self, row: int, column: str, text: str, problem: str, remedy: str) -> None:
        shown = f"{text[:40]!r} " if text else ""
        self.problems.append(Problem(self.file, row, f"column {column}: {shown}{problem}", remedy))

    def values(self, row: int, cells: Mapping[str, str]) -> dict[str, Any]:
        """The row's cells that are not blank, as values; bad ones are complained of and left out."""
        values = {}
        for column, text in cells.items():
            if text:
                try:
                    values[column] = read_cell(column, text, self.known)
                except BadCell as bad:
                    self.complain(row, column, text, bad.problem, bad.remedy)
        return values

    def check_row(self, row: int, cells: Mapping[str, str], values: Mapping[str, Any]) -> None:
        """Complain of cells that are missing beside others."""
        if not cells.get("phone"):
            self.complain(row, "phone", "", "is blank", "every row needs the client's number")
        for column, dependants, remedy in NEEDS:
            if not cells.get(column) and any(cells.get(name) for name in dependants):
                self.complain(row, column, "", "is blank", remedy)
        if values.get("marketing_consent"):
            for column in ("consent_on", "consent_how"):
                if not cells.get(column):
                    remedy = "consent to marketing must be provable: write when and how it was given, or no"
                    self.complain(row, column, "", "is blank", remedy)

    def merge(self, row: int, cells: Mapping[str, str], values: dict[str, Any]) -> None:
        """Join the row to its client and vessel; facts said twice must agree."""
        if "phone" not in values:
            return
        phone = values["phone"]
        client = self.clients.setdefault(phone, SheetClient(phone))
        self._take(row, cells, values, CLIENT, client.facts, (phone,))
        if "vessel" not in values:
            return
        key = values["vessel"].lower()
        vessel = client.vessels.setdefault(key, SheetVessel(values["vessel"]))
        self._take(row, cells, values, VESSEL, vessel.facts, (phone, key))
        coat = tuple(values.get(column) for column in ("surface", "coating", "applied_on"))
        if None not in coat and coat not in vessel.coats:
            vessel.coats.append(coat)  # type: ignore[arg-type]

    def _take(
        self,
        row: int,
        cells: Mapping[str, str],
        values: Mapping[str, Any],
        columns: tuple[str, ...],
        facts: dict[str, Any],
        whose: tuple[str, ...],
    ) -> None:
        for column in columns:
            if column not in values:
                continue
            first = self.said_in.setdefault((*whose, column), row)
            if facts.setdefault(column, values[column]) != values[column]:
                self.complain(row, column, cells[column], f"differs from row {first}", "make the two rows agree")

    def check_hull_numbers(self) -> None:
        """No two boats share a hull number (33 CFR 181.23)."""
        owners: dict[str, tuple[str, str]] = {}
        for client in self.clients.values():
            for key, vessel in client.vessels.items():
                number = vessel.facts.get("hin")
                if number and owners.setdefault(number, (client.phone, key)) != (client.phone, key):
                    row = self.said_in[client.phone, key, "hin"]
                    first = self.said_in[(*owners[number], "hin")]
                    self.complain(row, "hin", number, f"is also in row {first}", "no two boats share one: look again")


def read_sheet(path: Path, known: Known) -> tuple[SheetClient, ...]:
    """Read the file whole. Raises ImportRefused carrying every problem, by row (the header is row 1) and column."""
    reader = _Reader(path.name, known)
    for row, cells in _rows(path, reader):
        values = reader.values(row, cells)
        reader.check_row(row, cells, values)
        reader.merge(row, cells, values)
    reader.check_hull_numbers()
    if not reader.clients and not reader.problems:
        reader.problems.append(Problem(path.name, None, "the file has no rows", "write one row for each coating"))
    if reader.problems:
        raise ImportRefused(sorted(reader.problems, key=lambda problem: problem.line or 0))
    return tuple(reader.clients.values())


def _rows(path: Path, reader: _Reader) -> Iterator[tuple[int, dict[str, str]]]:
    """Rows that are not blank, with their number; line breaks inside a cell make no new row."""
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        remedy = "save it again as CSV UTF-8"
        reader.problems.append(Problem(path.name, None, "the file is not UTF-8 text", remedy))
        return
    head = text.split("\n", 1)[0]
    lines = csv.reader(io.StringIO(text, newline=""), delimiter=max(",;\t", key=head.count))
    header = [name.strip().lower().replace(" ", "_") for name in next(lines, [])]
    if not _header_is_good(path, header, reader):
        return
    for row, line in enumerate(lines, start=2):
        cells = [cell.strip() for cell in line]
        if not any(cells):
            continue
        if any(cells[len(header) :]):
            remedy = "put cells that hold a comma in double quotes"
            reader.problems.append(Problem(path.name, row, "the row has more cells than the header", remedy))
        yield row, dict(zip(header, cells, strict=False))


def _header_is_good(path: Path, header: list[str], reader: _Reader) -> bool:
    known = f"the columns are: {', '.join(COLUMNS)}"
    if "phone" not in header:
        reader.problems.append(Problem(path.name, 1, "there is no column phone", known))
    for name in sorted(set(header)):
        if name not in COLUMNS:
            reader.problems.append(Problem(path.name, 1, f"{name or 'a column without a name'} is not known", known))
        elif header.count(name) > 1:
            reader.problems.append(Problem(path.name, 1, f"{name} stands there twice", "keep one of them"))
    return not reader.problems
