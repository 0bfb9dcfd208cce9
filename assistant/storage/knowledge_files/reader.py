"""Reads the folder knowledge/ into a checked Knowledge value; every problem is named by file, line and remedy."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from assistant.domain.errors import KnowledgeError, Problem
from assistant.domain.knowledge import Answer, Knowledge, LookAlike, NudgeText, TextingHours
from assistant.domain.understanding.features import classes_of
from assistant.domain.understanding.labels import ingredient_index
from assistant.domain.understanding.model import training_stamp
from assistant.domain.understanding.topics import about_of
from assistant.domain.understanding.vocabulary import build_vocabulary
from assistant.storage.knowledge_files import prose, tables
from assistant.storage.knowledge_files.cache import load_knowledge, load_models, save_knowledge, save_models
from assistant.storage.knowledge_files.checks import check_together
from assistant.storage.knowledge_files.fitting import fit_languages
from assistant.storage.knowledge_files.good_words import good_words

LANGUAGES = ("en", "es")


def read_knowledge(folder: Path, cache: Path | None = None) -> Knowledge:
    """Read, check and fit. `cache` is a folder for what takes long. Raises KnowledgeError with all problems."""
    knowledge = load_knowledge(cache, stamp_of(folder)) if cache else None
    if knowledge is None:
        knowledge, problems = read_without_model(folder)
        if problems:
            raise KnowledgeError(problems)
        knowledge = prepared(knowledge)
        if cache:
            save_knowledge(cache, knowledge)
    return with_models(knowledge, cache)


def with_models(knowledge: Knowledge, cache: Path | None = None) -> Knowledge:
    """Knowledge with its vocabulary and its topic models, from the cache where they fit its phrasings."""
    if knowledge.vocabulary is None:
        knowledge = prepared(knowledge)
    stamp = training_stamp(knowledge)
    models = load_models(cache, stamp) if cache else None
    if models is None:
        models = fit_languages(knowledge)
        if cache:
            save_models(cache, stamp, models)
    return replace(knowledge, models=models)


def prepared(knowledge: Knowledge) -> Knowledge:
    """The knowledge with everything derived from its tables, ready to spot terms."""
    knowledge = replace(
        knowledge,
        vocabulary=build_vocabulary(knowledge, good_words()),
        classes=classes_of(knowledge),
        ingredients=ingredient_index(knowledge),
    )
    return replace(knowledge, about=about_of(knowledge))


def read_without_model(folder: Path) -> tuple[Knowledge, list[Problem]]:
    """All tables and texts, and every problem found. The value is usable only when there are none."""
    problems: list[Problem] = []
    table = _table_reader(folder, problems)
    knowledge = Knowledge(
        stamp=stamp_of(folder),
        substances=table("substances.csv", tables.substance),
        surfaces=table("surfaces.csv", tables.surface),
        soils=table("soils.csv", tables.soil),
        mixtures=tuple(table("mixtures.csv", tables.mixture).values()),
        coatings=table("coatings.csv", tables.coating),
        countries=table("countries.csv", tables.country),
        answers={code: _answers(folder, code, problems) for code in LANGUAGES},
        wording={code: _wording(folder, code, problems) for code in LANGUAGES},
        words=tables.by_kind(table("words.csv", tables.word_row, key=None)),
        look_alikes=tuple(_as(LookAlike, table("look_alikes.csv", tables.look_alike, key=None))),
        signals=tables.by_signal(table("signals.csv", tables.signal_row, key=None)),
        sun=table("sun.csv", tables.sun_row, key="station"),
        hours=tuple(_as(TextingHours, table("hours.csv", tables.hours_row, key=None))),
        nudges={code: _nudges(folder, code, problems) for code in LANGUAGES},
    )
    if not problems:
        problems.extend(check_together(knowledge))
    return knowledge, problems


def stamp_of(folder: Path) -> str:
    """A short hash over every file's name and content."""
    digest = hashlib.sha256()
    for path in sorted(folder.rglob("*")):
        if path.suffix in {".csv", ".md"} and path.is_file():
            digest.update(str(path.relative_to(folder)).encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()[:16]


def _table_reader(folder: Path, problems: list[Problem]) -> Callable[..., Any]:
    def read(name: str, build: Callable[[tables.Row], Any], key: str | None = "id") -> Any:
        return tables.read_table(folder / name, f"knowledge/{name}", build, key, problems)

    return read


def _as(kind: type, rows: Mapping[int, Any]) -> list[Any]:
    return [row for row in rows.values() if isinstance(row, kind)]


def _answers(folder: Path, language: str, problems: list[Problem]) -> dict[str, Answer]:
    found = (
        prose.read_answer(path, f"knowledge/answers/{language}/{path.name}", language, problems)
        for path in sorted((folder / "answers" / language).glob("*.md"))
    )
    return {answer.topic: answer for answer in found if answer}


def _nudges(folder: Path, language: str, problems: list[Problem]) -> dict[str, NudgeText]:
    found = (
        prose.read_nudge(path, f"knowledge/nudges/{language}/{path.name}", language, problems)
        for path in sorted((folder / "nudges" / language).glob("*.md"))
    )
    return {nudge.kind: nudge for nudge in found if nudge}


def _wording(folder: Path, language: str, problems: list[Problem]) -> dict[str, str]:
    name = f"wording/{language}.csv"
    rows = tables.read_table(folder / name, f"knowledge/{name}", lambda row: row.text("text"), "id", problems)
    return dict(rows)
