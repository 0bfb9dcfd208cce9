"""Markdown files with YAML front matter: answers and nudges. Complaints name file and line."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import yaml

from assistant.domain.errors import Problem
from assistant.domain.knowledge import Answer, NudgeText
from assistant.domain.wording import CONDITIONS, PLACEHOLDERS, placeholders_in

VERDICTS = {"yes": "yes", "no": "no", "careful": "careful", "none": None}
HANDOVERS = ("never", "always", "urgent")
VARIANT = re.compile(r"^## when (\S+)[ \t]*$", re.MULTILINE)
_ANSWER_KEYS = frozenset(
    ["topic", "group", "title", "verdict", "handover", "needs", "short", "sources", "phrasings", "safety", "soil", "say"]
)


class _Loader(getattr(yaml, "CSafeLoader", yaml.SafeLoader)):  # type: ignore[misc]
    """Plain YAML, but `yes` and `no` stay words: a verdict is not a boolean."""


_Loader.yaml_implicit_resolvers = {
    first: [(tag, pattern) for tag, pattern in resolvers if tag != "tag:yaml.org,2002:bool"]
    for first, resolvers in yaml.SafeLoader.yaml_implicit_resolvers.items()
}


class Draft:
    """A front matter under examination: typed reads that note problems with their line."""

    def __init__(self, path: Path, shown: str, problems: list[Problem]) -> None:
        self.shown, self.problems, self.lines = shown, problems, []  # type: ignore[var-annotated]
        self.head: dict[str, Any] = {}
        self.body = ""
        self._read(path)

    def _read(self, path: Path) -> None:
        try:
            text = path.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as trouble:
            return self.complain(None, f"can't be read ({trouble.__class__.__name__})", "Restore it, as UTF-8")
        self.lines = text.splitlines()
        parts = text.split("---\n", 2)
        if len(parts) < 3 or parts[0].strip():
            return self.complain(1, "has no front matter", "Begin with a line --- and close it with ---")
        self.body = parts[2].strip()
        try:
            head = yaml.load(parts[1], Loader=_Loader)  # noqa: S506 - _Loader is a safe loader
        except yaml.MarkedYAMLError as trouble:
            line = trouble.problem_mark.line + 2 if trouble.problem_mark else None
            return self.complain(line, f"front matter is not valid YAML ({trouble.problem})", "Quote texts with : or #")
        if not isinstance(head, dict):
            return self.complain(2, "front matter is not a list of key: value", "Write key: value lines")
        self.head = head
        return None

    def complain(self, line: int | None, problem: str, remedy: str) -> None:
        """Note a problem."""
        self.problems.append(Problem(self.shown, line, problem, remedy))

    def line_of(self, words: str) -> int | None:
        """The first line that holds these words."""
        return next((n for n, line in enumerate(self.lines, 1) if words in line), None)

    def text(self, key: str, default: str | None = None) -> str:
        """A text value."""
        value = self.head.get(key, default)
        if not isinstance(value, str | int) or value == "":
            self.complain(self.line_of(f"{key}:") or 1, f"{key} is missing", f"Add a line {key}: ...")
            return ""
        return str(value).strip()

    def choice(self, key: str, allowed: tuple[str, ...], default: str | None = None) -> str:
        """A value of a closed list."""
        value = self.text(key, default)
        if value and value not in allowed:
            self.complain(self.line_of(f"{key}:"), f"{key} is {value!r}", f"Use one of: {', '.join(allowed)}")
        return value

    def many(self, key: str) -> tuple[str, ...]:
        """A list of texts (may be empty)."""
        value = self.head.get(key) or []
        if not isinstance(value, list) or not all(isinstance(item, str | int | float) for item in value):
            self.complain(self.line_of(f"{key}:"), f"{key} is not a list of texts", "Write one '- text' a line, quoted")
            return ()
        return tuple(str(item).strip() for item in value)

    def check_placeholders(self) -> None:
        """Every {name} must come from the closed list."""
        for number, line in enumerate(self.lines, 1):
            for name in placeholders_in(line):
                if name not in PLACEHOLDERS:
                    self.complain(number, f"placeholder {{{name}}} is unknown", "See the list in knowledge/README.md")

    def check_keys(self, known: frozenset[str]) -> None:
        """No key beyond the known ones: a typing slip must not go unseen."""
        for key in self.head:
            if key not in known:
                self.complain(self.line_of(f"{key}:"), f"key {key!r} is unknown", f"Use: {', '.join(sorted(known))}")

    def parts(self) -> tuple[str, tuple[tuple[str, str], ...]]:
        """The main text and the variants by condition."""
        pieces = VARIANT.split(self.body)
        pairs = tuple(
            (condition, _one_line(text)) for condition, text in zip(pieces[1::2], pieces[2::2], strict=True)
        )
        for condition, text in pairs:
            if not (condition in CONDITIONS or condition.startswith("on_")):
                self.complain(
                    self.line_of(f"## when {condition}"), f"condition {condition!r} is unknown",
                    f"Use one of: {', '.join(sorted(CONDITIONS))}, on_<surface>",
                )  # fmt: skip
            elif not text:
                self.complain(self.line_of(f"## when {condition}"), "variant has no text", "Write it below this line")
        return _one_line(pieces[0]), pairs


def _one_line(text: str) -> str:
    return " ".join(text.split())


def read_answer(path: Path, shown: str, language: str, problems: list[Problem]) -> Answer | None:
    """One answer file; None when it can't be used (the problems say why)."""
    before = len(problems)
    draft = Draft(path, shown, problems)
    if len(problems) > before:
        return None
    draft.check_keys(_ANSWER_KEYS)
    draft.check_placeholders()
    text, variants = draft.parts()
    answer = Answer(
        topic=draft.text("topic"),
        language=language,
        group=draft.text("group"),
        title=draft.text("title"),
        verdict=VERDICTS.get(draft.choice("verdict", tuple(VERDICTS), "none")),
        handover=draft.choice("handover", HANDOVERS, "never"),
        needs=draft.many("needs"),
        short=_one_line(draft.text("short")),
        text=text,
        variants=variants,
        phrasings=draft.many("phrasings"),
        sources=draft.many("sources"),
        safety=draft.head.get("safety") == "yes",
    )
    _check_answer(answer, path, draft)
    return answer if len(problems) == before else None


def _check_answer(answer: Answer, path: Path, draft: Draft) -> None:
    if answer.topic and answer.topic != path.stem:
        draft.complain(draft.line_of("topic:"), f"topic is {answer.topic!r}, the file is {path.stem!r}", "Make them equal")
    if not answer.text:
        draft.complain(len(draft.lines), "answer has no text", "Write the answer below the second ---")
    if len(answer.phrasings) < 3:
        draft.complain(draft.line_of("phrasings:") or 1, "has fewer than 3 phrasings", "Add how people ask this")


def read_nudge(path: Path, shown: str, language: str, problems: list[Problem]) -> NudgeText | None:
    """One nudge file; None when it can't be used."""
    before = len(problems)
    draft = Draft(path, shown, problems)
    if len(problems) > before:
        return None
    draft.check_placeholders()
    text, variants = draft.parts()
    nudge = NudgeText(
        kind=draft.text("kind"),
        language=language,
        consent=draft.choice("consent", ("service", "marketing")),
        text=text,
        rules={key: str(value) for key, value in draft.head.items() if key not in {"kind", "consent"}},
        variants=variants,
    )
    if nudge.kind and nudge.kind != path.stem:
        draft.complain(draft.line_of("kind:"), f"kind is {nudge.kind!r}, the file is {path.stem!r}", "Make them equal")
    if not text:
        draft.complain(len(draft.lines), "nudge has no text", "Write the text below the second ---")
    return nudge if len(problems) == before else None
