"""The carriers that send nothing, and the numbers to which nothing is sent."""

from __future__ import annotations

import io
from datetime import UTC, datetime

import pytest

from assistant.carriers.carrier import OutgoingText
from assistant.carriers.fictional import is_fictional
from assistant.carriers.memory import MemoryCarrier
from assistant.carriers.screen import ScreenCarrier

TEXT = OutgoingText("+13055550111", "Hi Ana")
NOW = datetime(2027, 5, 4, 13, tzinfo=UTC)


def test_memory_keeps_texts_in_order_and_finds_them_again():
    memory = MemoryCarrier()
    memory.send(TEXT)
    second = memory.send(OutgoingText("+13055550133", "Hi Chidi"))
    assert [text.text for text in memory.sent] == ["Hi Ana", "Hi Chidi"]
    assert memory.find(OutgoingText("+13055550133", "Hi Chidi"), NOW) == second
    assert memory.find(OutgoingText("+13055550133", "Hi Ana"), NOW) is None


def test_the_screen_shows_receiver_and_text_and_never_repeats_an_id():
    stream = io.StringIO()
    screen = ScreenCarrier(stream)
    assert screen.send(TEXT).sid != screen.send(TEXT).sid
    assert stream.getvalue() == "[to +13055550111] Hi Ana\n" * 2


@pytest.mark.parametrize(
    "number",
    ["+13055550100", "+12165550199", "+442079460000", "+442079460999", "+447700900123", "+441632960000",
     "+441134960999", "+441614960000", "+61491570156", "+61255501234", "+61370101234"],
)  # fmt: skip
def test_numbers_set_aside_for_fiction_are_known(number):
    assert is_fictional(number)


@pytest.mark.parametrize(
    "number",
    ["+13055550200", "+13055550099", "+13055560100", "+442079461000", "+447700901000", "+61491570155",
     "+130555501000", "13055550100", "+1305555010"],
)  # fmt: skip
def test_their_neighbours_are_not(number):
    assert not is_fictional(number)
