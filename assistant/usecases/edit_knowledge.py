"""Changing what the assistant knows, in two steps: try the change out on a copy, then put it to use.

Trying reads and checks the changed copy, and reads old texts with both states of knowledge, so that a person sees what
would be understood otherwise. A change after which any text no longer gets its safety answer is refused.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from assistant.assembly import Assistant, knowledge_folder
from assistant.domain.errors import Problem
from assistant.domain.knowledge import Knowledge
from assistant.domain.understanding.model import training_stamp
from assistant.packaged import packaged
from assistant.storage import audit, handovers
from assistant.storage.database import Transaction
from assistant.storage.knowledge_files import read_without_model, with_models
from assistant.storage.knowledge_files.cache import save_models
from assistant.storage.knowledge_files.reader import prepared, stamp_of
from assistant.usecases.replay_texts import Changed, old_texts, read_otherwise


@dataclass(frozen=True, slots=True)
class Lesson:
    """What a person taught while answering: kept with the handover once the change is in use."""

    handover_id: int
    topic: str
    language: str
    question: str
    answer: str


@dataclass(frozen=True, slots=True)
class Trial:
    """What came of trying a change. `base` names the state of knowledge that it was tried on."""

    edits: Mapping[str, str]
    base: str
    problems: tuple[Problem, ...] = ()
    changed: tuple[Changed, ...] = ()
    replayed: int = 0
    knowledge: Knowledge | None = None
    lesson: Lesson | None = None

    @property
    def refused(self) -> bool:
        """It must not be put to use."""
        return bool(self.problems) or any(one.safety for one in self.changed)


def files(app: Assistant) -> tuple[str, ...]:
    """Every file a person may edit, as paths within the folder."""
    folder = knowledge_folder(app.settings)
    found = (path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.suffix in {".csv", ".md"})
    return tuple(sorted(name for name in found if not name.upper().endswith("README.MD")))


def file_text(app: Assistant, name: str) -> str | None:
    """The text of one file; None for anything that is not one of them."""
    if name not in files(app):
        return None
    return (knowledge_folder(app.settings) / name).read_text(encoding="utf-8")


def gives_safety_answer(app: Assistant, name: str) -> bool:
    """True for an answer that protects people: it is not edited here."""
    parts = name.split("/")
    if len(parts) != 3 or parts[0] != "answers":
        return False
    answer = app.knowledge.answers.get("en", {}).get(parts[2].removesuffix(".md"))
    return answer is not None and answer.safety


def try_out(app: Assistant, edits: Mapping[str, str], lesson: Lesson | None = None) -> Trial:
    """Check the change and read old texts with it. Takes seconds when phrasings change: the model is fitted anew."""
    used = knowledge_folder(app.settings)
    base = stamp_of(used)
    for name in edits:
        if gives_safety_answer(app, name):
            problem = Problem(f"knowledge/{name}", None, "this answer protects people", "It is not changed on this page")
            return Trial(edits, base, (problem,))
    with tempfile.TemporaryDirectory(prefix="aftercare-") as temporary:
        folder = Path(temporary) / "knowledge"
        shutil.copytree(used, folder)
        _write(folder, edits)
        changed, problems = read_without_model(folder)
    if problems:
        return Trial(edits, base, tuple(problems))
    changed = _with_models(app.knowledge, changed)
    texts = old_texts(app)
    differences = tuple(read_otherwise(app, changed, texts))
    return Trial(edits, base, (), differences, len(texts), changed, lesson)


def put_to_use(app: Assistant, trial: Trial, who: str, now: datetime) -> bool:
    """Write the change into the home and use it from now on; False when knowledge was changed since it was tried."""
    if trial.refused or trial.knowledge is None:
        raise ValueError("a change that was refused is never put to use")
    if stamp_of(knowledge_folder(app.settings)) != trial.base:
        return False
    folder = app.settings.home / "knowledge"
    if not folder.is_dir():
        begun = app.settings.home / "knowledge.part"
        shutil.rmtree(begun, ignore_errors=True)
        shutil.copytree(packaged("knowledge"), begun)
        begun.rename(folder)
    _write(folder, trial.edits)
    app.knowledge = trial.knowledge
    save_models(app.settings.home / "cache", training_stamp(trial.knowledge), trial.knowledge.models)
    with app.database.transaction(app.business.id) as tx:
        audit.note(tx, now, who, "changed knowledge", ", ".join(trial.edits), read_otherwise=len(trial.changed))
        if trial.lesson:
            _keep(tx, trial.lesson, who, now)
    return True


def _keep(tx: Transaction, lesson: Lesson, who: str, now: datetime) -> None:
    handovers.teach(
        tx, lesson.question, lesson.answer, who, now, topic=lesson.topic, language=lesson.language,
        handover_id=lesson.handover_id,
    )  # fmt: skip


def _with_models(old: Knowledge, new: Knowledge) -> Knowledge:
    """Models fitted from the same phrasings are the same."""
    new = prepared(new)
    if old.models and training_stamp(new) == training_stamp(old):
        return replace(new, models=old.models)
    return with_models(new)


def _write(folder: Path, edits: Mapping[str, str]) -> None:
    """Each file whole or not at all."""
    for name, text in edits.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_name(path.name + ".part")
        part.write_text(text if text.endswith("\n") else text + "\n", encoding="utf-8", newline="\n")
        os.replace(part, path)
