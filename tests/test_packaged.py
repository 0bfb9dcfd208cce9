"""The folders that ship with the program are found beside it and inside it."""

from __future__ import annotations

import pytest

from assistant import packaged


def test_in_a_checkout_they_stand_beside_the_program():
    assert (packaged.packaged("demo_conversations") / "clients.csv").is_file()
    assert (packaged.packaged("knowledge") / "substances.csv").is_file()


def test_in_an_installation_they_stand_inside_and_a_stranger_beside_is_not_taken(tmp_path, monkeypatch):
    inside = tmp_path / "site-packages" / "assistant"
    (inside / "_data" / "knowledge").mkdir(parents=True)
    (tmp_path / "site-packages" / "knowledge").mkdir()
    monkeypatch.setattr(packaged, "_HERE", inside)
    assert packaged.packaged("knowledge") == inside / "_data" / "knowledge"


def test_a_broken_installation_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr(packaged, "_HERE", tmp_path / "assistant")
    with pytest.raises(FileNotFoundError, match="install the program again"):
        packaged.packaged("knowledge")
