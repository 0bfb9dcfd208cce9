"""Fits the languages side by side, each in a process of its own where that is safe: faster, and the large arrays of
fitting leave no trace in a serving process."""

from __future__ import annotations

import multiprocessing
import sys
import threading
from concurrent.futures import ProcessPoolExecutor

from assistant.domain.knowledge import Knowledge
from assistant.domain.understanding.model import TopicModel, fit_language

_waiting: list[Knowledge] = []
"""What forked processes fit: they see this list as it was when they began."""


def fit_languages(knowledge: Knowledge) -> dict[str, TopicModel]:
    """One model a language that has phrasings."""
    languages = [code for code, answers in knowledge.answers.items() if answers]
    if len(languages) < 2 or not _may_fork():
        return {code: fit_language(knowledge, code) for code in languages}
    _waiting.append(knowledge)
    try:
        with ProcessPoolExecutor(len(languages), multiprocessing.get_context("fork")) as pool:
            return dict(zip(languages, pool.map(_fit, languages), strict=True))
    finally:
        _waiting.clear()


def _may_fork() -> bool:
    """Forking is safe only while no other thread runs; from Python 3.12 on it also warns about library threads."""
    return sys.platform == "linux" and threading.active_count() == 1 and sys.version_info < (3, 12)


def _fit(language: str) -> TopicModel:
    return fit_language(_waiting[0], language)
