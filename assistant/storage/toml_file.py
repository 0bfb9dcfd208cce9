"""Reads a TOML file that a person edits: every wrong value is noted with its line, and reading goes on."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, time
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any, TypeVar

from assistant.domain.errors import KnowledgeError, Problem

T = TypeVar("T")
_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""^\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*'))*)\s*=""")
_SYNTAX_PLACE = re.compile(r"\s*\(at line (\d+), column \d+\)|\s*\(at end of document\)")
_WINDOW = re.compile(r"(\d{1,2}:\d{2})\s*-\s*(\d{1,2}:\d{2})")
_MISSING = object()

Path_ = tuple[str | int, ...]


@dataclass(slots=True)
class TomlFile:
    """One file: its values, where they stand, and what is wrong with them so far."""

    name: str
    values: dict[str, Any]
    lines: Mapping[Path_, int]
    problems: list[Problem] = field(default_factory=list)

    def complain(self, path: Path_, problem: str, remedy: str) -> None:
        """Note one wrong value; the line is that of the value or of the part it belongs to."""
        while path and path not in self.lines:
            path = path[:-1]
        self.problems.append(Problem(self.name, self.lines.get(path), problem, remedy))

    def section(self, *path: str) -> Section:
        """The table at `path`; an empty one when it is missing."""
        value: Any = self.values
        for step in path:
            value = value.get(step, {}) if isinstance(value, dict) else {}
        if not isinstance(value, dict):
            self.complain(
                path, f"{'.'.join(path)} should be a part of its own", f"write [{'.'.join(path)}] on a line"
            )
            value = {}
        return Section(self, path, value)

    def sections(self, name: str) -> list[Section]:
        """The tables of a list written as [[name]]."""
        value = self.values.get(name, [])
        if not isinstance(value, list) or not all(isinstance(entry, dict) for entry in value):
            self.complain(
                (name,), f"{name} should be a list", f"begin each entry with [[{name}]] on a line of its own"
            )
            return []
        return [Section(self, (name, number), entry) for number, entry in enumerate(value)]


@dataclass(slots=True)
class Section:
    """One table of the file. Reading a value marks it as known; `finish` complains about the rest."""

    file: TomlFile
    path: Path_
    values: dict[str, Any]
    known: set[str] = field(default_factory=set)

    def read(self, key: str, convert: Callable[[Any], T], default: T | object = _MISSING, remedy: str = "") -> T:
        """The converted value. A ValueError of `convert` becomes a problem, and the default is used instead."""
        self.known.add(key)
        if key not in self.values:
            if default is _MISSING:
                self.file.complain((*self.path, key), f"{self._named(key)} is missing", remedy or f"add {key} = ...")
                return convert_nothing(convert)
            return default  # type: ignore[return-value]
        try:
            return convert(self.values[key])
        except ValueError as fault:
            self.file.complain(
                (*self.path, key), f"{self._named(key)} {fault}", remedy or "write it like the template"
            )
            return convert_nothing(convert) if default is _MISSING else default  # type: ignore[return-value]

    def finish(self, others: Iterable[str] = ()) -> None:
        """Complain about keys that mean nothing here: most often a slip of the finger."""
        for key in self.values.keys() - self.known - set(others):
            allowed = ", ".join(sorted(self.known))
            self.file.complain((*self.path, key), f"{self._named(key)} is not known here", f"known are: {allowed}")

    def _named(self, key: str) -> str:
        return ".".join(str(step) for step in (*self.path, key) if not isinstance(step, int))


def open_toml(path: Path) -> TomlFile:
    """Parse the file. Raises KnowledgeError when it is missing or no TOML at all."""
    try:
        text = path.read_text(encoding="utf-8")
        values = tomllib.loads(text)
    except FileNotFoundError:
        raise KnowledgeError([Problem(path.name, None, "the file is missing", "run `aftercare init`")]) from None
    except UnicodeDecodeError:
        raise KnowledgeError([Problem(path.name, None, "the file is not UTF-8 text", "save it as UTF-8")]) from None
    except tomllib.TOMLDecodeError as fault:
        place = _SYNTAX_PLACE.search(str(fault))
        line = int(place[1]) if place and place[1] else None
        problem = Problem(
            path.name, line, _SYNTAX_PLACE.sub("", str(fault)), "texts need quotes, lists need brackets"
        )
        raise KnowledgeError([problem]) from None
    return TomlFile(path.name, values, find_lines(text))


def find_lines(text: str) -> dict[Path_, int]:
    """Line (from 1) of every table and key, by path; entries of [[lists]] are counted from 0."""
    lines: dict[Path_, int] = {}
    counts: dict[str, int] = {}
    at: Path_ = ()
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.match(line):
            at = _split(header[2])
            if header[1] == "[[":
                counts[header[2]] = counts.get(header[2], -1) + 1
                lines.setdefault(at, number)
                at = (*at, counts[header[2]])
            lines.setdefault(at, number)
        elif key := _KEY.match(line):
            path = (*at, *_split(key[1]))
            for length in range(len(at) + 1, len(path) + 1):
                lines.setdefault(path[:length], number)
    return lines


def _split(dotted: str) -> tuple[str, ...]:
    steps = re.findall(r"""\s*(?:"([^"]*)"|'([^']*)'|([A-Za-z0-9_-]+))\s*""", dotted)
    return tuple(double or single or bare for double, single, bare in steps)


def convert_nothing(convert: Callable[[Any], T]) -> T:
    """A stand-in for a value that could not be read, so that the other problems are found in the same run."""
    stand_ins: dict[Any, Any] = {as_text: "", as_decimal: Decimal(0), as_count: 0, as_window: (time(0), time(0))}
    return stand_ins.get(convert)  # type: ignore[return-value]


def as_text(value: Any) -> str:
    """A text that is not blank."""
    if not isinstance(value, str) or not value.strip():
        raise ValueError("should be a text in quotes")
    return value.strip()


def as_any_text(value: Any) -> str:
    """A text that may be empty."""
    if not isinstance(value, str):
        raise ValueError("should be a text in quotes")
    return value.strip()


def as_flag(value: Any) -> bool:
    """True or false."""
    if not isinstance(value, bool):
        raise ValueError("should be true or false")
    return value


def as_count(value: Any) -> int:
    """A whole number, zero or more."""
    if isinstance(value, bool) or not isinstance(value, int) or value < 0:
        raise ValueError("should be a whole number, 0 or more")
    return value


def as_decimal(value: Any) -> Decimal:
    """A number, zero or more; quotes are allowed."""
    try:
        amount = Decimal(str(value)) if isinstance(value, int | float | str) and not isinstance(value, bool) else None
    except InvalidOperation:
        amount = None
    if amount is None or not amount.is_finite() or amount < 0:
        raise ValueError("should be a number, 0 or more")
    return amount


def as_number(value: Any) -> float:
    """A number of any sign."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError("should be a number")
    return float(value)


def as_day(value: Any) -> date:
    """A date."""
    try:
        return value if type(value) is date else date.fromisoformat(value)
    except (TypeError, ValueError):
        raise ValueError("should be a date like 2027-12-24") from None


def as_time(value: Any) -> time:
    """A time of day."""
    try:
        return value if isinstance(value, time) else time.fromisoformat(value.strip().zfill(5))
    except (AttributeError, ValueError):
        raise ValueError('should be a time like "08:00"') from None


def as_window(value: Any) -> tuple[time, time]:
    """A stretch of the day, beginning before its end."""
    found = _WINDOW.fullmatch(value.strip()) if isinstance(value, str) else None
    if found is None:
        raise ValueError('should be a stretch of the day like "08:00-17:00"')
    begins, ends = as_time(found[1]), as_time(found[2])
    if begins >= ends:
        raise ValueError("should begin before it ends")
    return begins, ends


def as_list(convert: Callable[[Any], T]) -> Callable[[Any], tuple[T, ...]]:
    """A list, each entry converted."""

    def read(value: Any) -> tuple[T, ...]:
        if not isinstance(value, list):
            raise ValueError("should be a list in brackets")
        return tuple(convert(entry) for entry in value)

    return read


def as_texts(value: Any) -> dict[str, str]:
    """Texts by name."""
    if not isinstance(value, dict) or not all(isinstance(entry, str) for entry in value.values()):
        raise ValueError("should be names with texts in quotes")
    return {str(name): entry.strip() for name, entry in value.items()}


def as_decimals(value: Any) -> dict[str, Decimal]:
    """Numbers by name."""
    if not isinstance(value, dict):
        raise ValueError("should be names with numbers")
    return {str(name): as_decimal(entry) for name, entry in value.items()}
