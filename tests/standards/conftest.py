"""The knowledge that ships with the program, read once; fitted models are kept between runs."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from assistant.domain.knowledge import Knowledge
from assistant.packaged import packaged
from assistant.storage.knowledge_files.reader import read_without_model, with_models


@pytest.fixture(scope="session")
def knowledge(request: pytest.FixtureRequest) -> Knowledge:
    """Whether it has problems is the business of `tests/architecture/`."""
    return with_models(read_without_model(packaged("knowledge"))[0], Path(request.config.cache.mkdir("models")))


@pytest.fixture(scope="session")
def substances() -> dict[str, dict[str, str]]:
    """Rows of substances.csv as they stand in the file, by id."""
    with (packaged("knowledge") / "substances.csv").open(encoding="utf-8", newline="") as file:
        return {row["id"]: row for row in csv.DictReader(file)}
