"""The real knowledge, fitted once a session."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from assistant.domain.conversation.decide import decide
from assistant.domain.conversation.decision import Decision
from assistant.domain.conversation.situation import Situation
from assistant.domain.knowledge import Knowledge
from assistant.domain.understanding.read import read
from assistant.domain.understanding.reading import Reading
from assistant.packaged import packaged
from assistant.storage.knowledge_files import read_knowledge
from tests.development.replay import CLIENTS, DIARY, NOW

Say = Callable[..., Decision]


@pytest.fixture(scope="session")
def knowledge(tmp_path_factory: pytest.TempPathFactory) -> Knowledge:
    return read_knowledge(packaged("knowledge"), Path(tmp_path_factory.getbasetemp().parent / "fitted"))


@pytest.fixture
def ana() -> Situation:
    """Sea Thistle, in the water all year, sealed on 2 March 2026; today is 10 June 2026."""
    return CLIENTS["ana"]


@pytest.fixture
def reading(knowledge: Knowledge) -> Callable[[str], Reading]:
    return lambda text, who="ana": read(text, CLIENTS[who], knowledge)


@pytest.fixture
def say(knowledge: Knowledge) -> Say:
    """What comes back for a text of one of the clients of the development set."""

    def reply(text: str, who: str = "ana") -> Decision:
        return decide(read(text, CLIENTS[who], knowledge), CLIENTS[who], knowledge, DIARY, NOW)

    return reply
