"""Changes of knowledge being tried in the background: fitting the model takes seconds, a page should not."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor

from assistant.usecases.edit_knowledge import Trial

KEPT = 20


class Trials:
    """The latest trials by name. One runs at a time: each uses a whole processor."""

    def __init__(self) -> None:
        self._runner = ThreadPoolExecutor(max_workers=1, thread_name_prefix="trial")
        self._trials: dict[str, Future[Trial]] = {}

    def begin(self, work: Callable[[], Trial]) -> str:
        """Start one and return its name."""
        name = secrets.token_urlsafe(12)
        self._trials[name] = self._runner.submit(work)
        for old in list(self._trials)[:-KEPT]:
            self._trials.pop(old, None)
        return name

    def known(self, name: str) -> bool:
        """True for a trial that is kept."""
        return name in self._trials

    def outcome(self, name: str, wait: float = 0.0) -> Trial | None:
        """What came of it; None while it still runs. What went wrong inside is raised."""
        trial = self._trials[name]
        try:
            return trial.result(timeout=wait)
        except TimeoutError:
            return None
