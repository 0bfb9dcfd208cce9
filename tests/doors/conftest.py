"""An assistant with hand-written parts behind the real doors."""

from __future__ import annotations

import pytest

from assistant.doors.web import create_app
from tests.hand_made import hand_made


@pytest.fixture
def assistant(database, business, tmp_path):
    return hand_made(database, business, tmp_path)


@pytest.fixture
def web(assistant, now):
    return create_app(assistant, now=lambda: now).test_client()
