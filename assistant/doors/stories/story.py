"""Reads a story: a Markdown file that is a dialogue, paragraph by paragraph.

    > Ana: Can I use bleach?          a client texts ([photo] in it sends a picture along)
    Better not, it ...                what the assistant answers, to the letter; [...] stands for any text
    (no answer)                       it stays silent
    (Nola is asked)                   a person must see this; "(Nola is asked at once)" when it cannot wait
    [2 days later, 09:00]             time passes: minutes, hours, days, weeks, months; the hour may be left out
    To Ana: Your topper is due.       a text of our own accord that left while time passed
    *Ana finds spots.*                a word to the reader; so is a heading
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from enum import StrEnum
from pathlib import Path

import yaml
from dateutil.relativedelta import relativedelta

from assistant.domain.errors import KnowledgeError, Problem

ANY_TEXT = "[...]"
_SAYS = re.compile(r">\s*(?P<who>[^:]+?)\s*:\s*(?P<text>.*)", re.DOTALL)
_LATER = re.compile(r"\[(?P<count>\d+) (?P<unit>minute|hour|day|week|month)s? later(, (?P<clock>\d\d:\d\d))?\]")

_UNITS = {
    "minute": timedelta(minutes=1), "hour": timedelta(hours=1), "day": timedelta(days=1), "week": timedelta(weeks=1),
}  # fmt: skip


class Kind(StrEnum):
    """What a paragraph of a story is."""

    SAYS = "says"
    LATER = "later"
    HAPPENS = "happens"
    ASIDE = "aside"


@dataclass(frozen=True, slots=True)
class Paragraph:
    """One paragraph as written, and the line it begins on."""

    kind: Kind
    written: str
    line: int

    @property
    def spoken(self) -> tuple[str, str]:
        """Who texts, and what."""
        match = _SAYS.fullmatch(re.sub(r"\n>[ \t]?", "\n", self.written))
        return (match["who"], match["text"]) if match else ("", "")

    def after(self, now: datetime) -> datetime:
        """The wall time this time jump leads to; months are calendar months."""
        match = _LATER.fullmatch(self.written)
        if match is None:
            return now
        count, unit = int(match["count"]), match["unit"]
        later = now + (relativedelta(months=count) if unit == "month" else count * _UNITS[unit])
        return datetime.combine(later, time.fromisoformat(match["clock"])) if match["clock"] else later


@dataclass(frozen=True, slots=True)
class Story:
    """One dialogue. `starts` is a wall time in the business's zone; `strangers` are numbers that are not on file."""

    path: Path
    title: str
    shows: str
    starts: datetime
    strangers: dict[str, str]
    head: str
    """The front matter as written."""
    paragraphs: tuple[Paragraph, ...]


def read_story(path: Path) -> Story:
    """The story in `path`. Raises KnowledgeError with file, line and remedy."""
    text = path.read_text(encoding="utf-8")
    head = re.match(r"---\n(.*?)\n---\n", text, re.DOTALL)
    try:
        facts = yaml.safe_load(head[1]) if head else {}
        title, shows, starts = str(facts["title"]), str(facts["shows"]), datetime.fromisoformat(str(facts["starts"]))
        strangers = {str(name): str(number) for name, number in (facts.get("strangers") or {}).items()}
    except (yaml.YAMLError, KeyError, TypeError, ValueError, AttributeError) as error:
        raise _refused(path, 1, f"the front matter is not usable ({error})", _HEAD_REMEDY) from error
    paragraphs = tuple(_paragraphs(path, text, head.end() if head else 0))
    return Story(path, title, shows, starts, strangers, head[0] if head else "", paragraphs)


def fits(written: str, happened: str) -> bool:
    """True when what happened is what is written, where [...] stands for any text."""
    pattern = ".*".join(re.escape(part) for part in written.split(ANY_TEXT))
    return re.fullmatch(pattern, happened, re.DOTALL) is not None


_HEAD_REMEDY = "Begin the file with ---, lines for title, shows and starts (2027-05-04 09:15), and ---"


def _paragraphs(path: Path, text: str, begin: int) -> Iterator[Paragraph]:
    """The paragraphs from `begin` on; what happens must follow a text or a time jump."""
    begun = False
    for match in re.finditer(r"\S.*?(?=\n[ \t]*\n|\s*\Z)", text[begin:], re.DOTALL):
        written, line = match[0], text.count("\n", 0, begin + match.start()) + 1
        kind = _kind(path, written, line)
        begun = begun or kind in (Kind.SAYS, Kind.LATER)
        if kind is Kind.HAPPENS and not begun:
            raise _refused(path, line, "this answers nothing", "Put '> Ana: ...' before it, or * around a remark")
        yield Paragraph(kind, written, line)


def _kind(path: Path, written: str, line: int) -> Kind:
    if written.startswith(">"):
        if not _SAYS.match(written):
            raise _refused(path, line, "nobody says this", "Write '> Ana: Hi'")
        return Kind.SAYS
    if written.startswith("[") and written.endswith("]") and ANY_TEXT not in written:
        if not _LATER.fullmatch(written):
            raise _refused(path, line, f"{written} is no time jump", "Write '[2 days later, 09:00]'")
        return Kind.LATER
    if written.startswith("#") or (written.startswith("*") and written.endswith("*")):
        return Kind.ASIDE
    return Kind.HAPPENS


def _refused(path: Path, line: int, problem: str, remedy: str) -> KnowledgeError:
    return KnowledgeError([Problem(str(path), line, problem, remedy)])
