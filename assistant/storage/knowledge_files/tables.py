"""The CSV tables of knowledge/: one row builder per table, every bad cell named by file and line."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from assistant.domain import knowledge as k
from assistant.domain.errors import Problem

CAS = re.compile(r"^(\d{2,7})-(\d{2})-(\d)$")


class BadCell(ValueError):
    """A cell that can't be read: what is wrong and what to write instead."""

    def __init__(self, problem: str, remedy: str) -> None:
        self.problem, self.remedy = problem, remedy
        super().__init__(problem)


@dataclass(frozen=True, slots=True)
class Row:
    """One CSV row with typed reads of its cells."""

    cells: Mapping[str, str]

    def text(self, column: str, optional: bool = False) -> str:
        """The cell, trimmed; empty is refused unless optional."""
        value = (self.cells.get(column) or "").strip()
        if not value and not optional:
            raise BadCell(f"column {column} is empty", "Fill the cell in")
        return value

    def choice(self, column: str, allowed: tuple[str, ...]) -> str:
        """The cell, one of a closed list."""
        value = self.text(column)
        if value not in allowed:
            raise BadCell(f"column {column} has {value!r}", f"Use one of: {', '.join(allowed)}")
        return value

    def many(self, column: str) -> tuple[str, ...]:
        """A semicolon-separated list, blanks dropped."""
        return tuple(part.strip() for part in (self.cells.get(column) or "").split(";") if part.strip())

    def number(self, column: str) -> Decimal:
        """A plain number."""
        value = self.text(column)
        try:
            return Decimal(value)
        except InvalidOperation:
            raise BadCell(f"column {column} has {value!r}", "Write a plain number such as 180 or 0.4") from None

    def whole(self, column: str) -> int:
        """A whole number."""
        return int(self.number(column))

    def flag(self, column: str) -> bool:
        """yes or no."""
        return self.choice(column, ("yes", "no")) == "yes"

    def both(self, stem: str, optional: bool = False) -> dict[str, str]:
        """The cells stem_en and stem_es by language."""
        return {"en": self.text(f"{stem}_en", optional), "es": self.text(f"{stem}_es", True)}

    def say(self) -> dict[str, tuple[str, ...]]:
        """What people say, by language."""
        return {"en": self.many("say_en"), "es": self.many("say_es")}


def read_table(
    path: Path, shown: str, build: Callable[[Row], Any], key: str | None, problems: list[Problem]
) -> dict[Any, Any]:
    """Rows by `key` column (or by line number when key is None). Problems are appended, never raised."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as trouble:
        problems.append(Problem(shown, None, f"can't be read ({trouble.__class__.__name__})", "Restore it, as UTF-8"))
        return {}
    rows: dict[Any, Any] = {}
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        header = next(reader, [])
        for cells in reader:
            if any(cell.strip() for cell in cells):
                _take(rows, header, cells, reader.line_num, shown, build, key, problems)
    except csv.Error as trouble:
        problems.append(Problem(shown, reader.line_num, f"is not valid CSV ({trouble})", "Check the quotes here"))
    return rows


def _take(
    rows: dict[Any, Any], header: list[str], cells: list[str], line: int, shown: str,
    build: Callable[[Row], Any], key: str | None, problems: list[Problem],
) -> None:  # fmt: skip
    if len(cells) != len(header):
        problems.append(
            Problem(shown, line, f"has {len(cells)} cells, the header has {len(header)}", "Quote cells with commas")
        )
        return
    row = Row(dict(zip(header, cells, strict=True)))
    try:
        name: Any = row.text(key) if key else line
        if name in rows:
            raise BadCell(f"{key} {name!r} stands twice", "Give each row an id of its own")
        rows[name] = build(row)
    except BadCell as bad:
        problems.append(Problem(shown, line, bad.problem, bad.remedy))


def effect(cell: str) -> k.Effect:
    """An effect code: 0..3, with s for slippery; - or empty for no evidence."""
    value = cell.strip()
    if value in {"", "-", "?"}:
        return k.NO_EVIDENCE
    found = re.fullmatch(r"([0-3])(s?)", value)
    if not found:
        raise BadCell(f"effect code {value!r} is unknown", "Use 0, 1, 2 or 3, with s if it gets slippery, or -")
    return k.Effect(int(found[1]), bool(found[2]))


def cas_is_valid(number: str) -> bool:
    """CAS Registry check digit: last digit = sum of digits times position from the right, modulo 10."""
    found = CAS.match(number)
    if not found:
        return False
    digits = (found[1] + found[2])[::-1]
    return sum(int(digit) * place for place, digit in enumerate(digits, 1)) % 10 == int(found[3])


def substance(row: Row) -> k.Substance:
    """A row of substances.csv."""
    cas = tuple(number for number in row.many("cas") if number != "-")
    wrong = [number for number in cas if not cas_is_valid(number)]
    if wrong:
        raise BadCell(f"CAS number {wrong[0]} fails its check digit", "Copy it again from the safety data sheet")
    low, high = row.text("ph_low", True), row.text("ph_high", True)
    return k.Substance(
        id=row.text("id"),
        kind=row.choice("kind", ("substance", "tool", "method")),
        cls=row.text("class"),
        ingredients=row.many("ingredients"),
        cas=cas,
        ph=(float(row.number("ph_low")), float(row.number("ph_high"))) if low and high else None,
        effects={column: effect(row.cells.get(column, "")) for column in (*k.COATINGS, *k.SURFACES)},
        verdict=row.choice("verdict", k.VERDICTS),
        hazard=row.text("hazard", True),
        mixes_as=frozenset(row.many("mixes_as")),
        name=row.both("name"),
        say=row.say(),
        why=row.both("why"),
        instead=row.both("instead"),
        source=row.text("source"),
        sure=row.choice("sure", ("read", "common", "memory")),
    )


def surface(row: Row) -> k.Surface:
    """A row of surfaces.csv."""
    return k.Surface(
        id=row.text("id"),
        counts_as=row.text("counts_as", True) or row.text("id"),
        name=row.both("name"),
        say=row.say(),
        coated=row.flag("coated_by_default"),
        slippery_risk=row.flag("slippery_risk"),
        wash=row.both("wash", True),
        dont=row.both("dont", True),
        source=row.text("source", True),
    )


def soil(row: Row) -> k.Soil:
    """A row of soils.csv."""
    return k.Soil(
        id=row.text("id"),
        cls=row.text("class", True),
        topic=row.text("topic"),
        name=row.both("name"),
        say=row.say(),
        verdict=row.choice("verdict", ("soil_fine", "soil_ask")),
        needs_person=row.flag("needs_person"),
        hazard=row.text("hazard", True),
        source=row.text("source", True),
    )


def mixture(row: Row) -> k.Mixture:
    """A row of mixtures.csv."""
    return k.Mixture(
        id=row.text("id"),
        a=row.text("a"),
        b=row.text("b"),
        gas=row.both("gas"),
        danger=row.choice("severity", ("danger", "harmless")) == "danger",
        source=row.text("source"),
    )


def coating(row: Row) -> k.Coating:
    """A row of coatings.csv."""
    first, every = row.text("first_topper_day", True), row.text("topper_every_days", True)
    return k.Coating(
        id=row.choice("id", k.COATINGS),
        name=row.both("name"),
        say=row.say(),
        capacity_days=row.number("capacity_days"),
        cap_days=row.whole("cap_days"),
        topper_credit_days=row.number("topper_credit_days"),
        topper_min_gap_days=row.whole("topper_min_gap_days"),
        topper_credit_max_share=row.number("topper_credit_max_share"),
        debit_avoid=row.number("debit_avoid"),
        debit_ask=row.number("debit_ask"),
        k={kept: row.number(f"k_{kept}") for kept in ("in_water", "lift", "covered", "indoors")},
        soon_percent=row.whole("soon_percent"),
        range_early_percent=row.whole("range_early_percent"),
        range_late_percent=row.whole("range_late_percent"),
        keep_dry_hours=(row.whole("keep_dry_hours_low"), row.whole("keep_dry_hours_high")),
        no_soap_days=(row.whole("no_soap_days_low"), row.whole("no_soap_days_high")),
        plain_rinse_after_hours=row.whole("plain_rinse_after_hours"),
        first_topper_day=int(first) if first else None,
        topper_every_days=int(every) if every else None,
        source=row.text("source"),
    )


def country(row: Row) -> k.Country:
    """A row of countries.csv."""
    return k.Country(
        id=row.text("id"),
        name=row.both("name"),
        emergency=row.text("emergency", True),
        poison_name=row.both("poison_name", True),
        poison_phone=row.text("poison_phone", True),
        spill_phone=row.text("spill_phone", True),
        spill_name=row.both("spill_name", True),
        holidays=row.text("holidays", True),
    )


def hours_row(row: Row) -> k.TextingHours:
    """A row of hours.csv."""
    cells = ("id", "country", "state", "kind", "days", "start", "end", "source")
    return k.TextingHours(*(row.text(cell, cell == "state") for cell in cells))


def sun_row(row: Row) -> tuple[float, ...]:
    """Twelve monthly values of one station."""
    months = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"]
    return tuple(float(row.number(month)) for month in months)


def look_alike(row: Row) -> k.LookAlike:
    """A row of look_alikes.csv."""
    return k.LookAlike(row.text("word").lower(), row.text("lang"), row.text("means"))


def word_row(row: Row) -> tuple[str, str, str, tuple[str, ...]]:
    """A row of words.csv: kind, id, language, what people say."""
    return row.text("kind"), row.text("id"), row.choice("lang", ("en", "es")), row.many("say")


def signal_row(row: Row) -> tuple[str, str, tuple[str, ...]]:
    """A row of signals.csv: signal, language, cue words."""
    return row.text("signal"), row.choice("lang", ("en", "es")), row.many("say")


def by_kind(rows: Mapping[int, Any]) -> dict[str, dict[str, dict[str, tuple[str, ...]]]]:
    """kind -> id -> language -> words."""
    out: dict[str, dict[str, dict[str, tuple[str, ...]]]] = {}
    for kind, id, language, say in rows.values():
        said = out.setdefault(kind, {}).setdefault(id, {})
        said[language] = said.get(language, ()) + say
    return out


def by_signal(rows: Mapping[int, Any]) -> dict[str, dict[str, tuple[str, ...]]]:
    """signal -> language -> cues."""
    out: dict[str, dict[str, tuple[str, ...]]] = {}
    for signal, language, say in rows.values():
        said = out.setdefault(signal, {})
        said[language] = said.get(language, ()) + say
    return out
