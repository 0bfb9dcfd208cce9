"""Every story of demo_conversations/ happens as it is written, through the real webhook, on a real database."""

from __future__ import annotations

import csv

import pytest

from assistant.carriers.fictional import is_fictional
from assistant.domain.errors import KnowledgeError
from assistant.doors.stories.stage import stage_for, story_files
from assistant.doors.stories.story import read_story
from assistant.packaged import packaged


@pytest.mark.parametrize("path", story_files(), ids=lambda path: path.stem)
def test_a_story_happens_as_written(path, database_url):
    with stage_for(read_story(path), database_url) as stage:
        for scene in stage.play():
            assert scene.happened == scene.written or scene.as_written, f"{path.name}, line {scene.step.line}"


def test_there_are_stories_enough():
    assert len(story_files()) >= 6


def test_people_in_stories_text_from_numbers_of_fiction():
    with (packaged("demo_conversations") / "clients.csv").open(encoding="utf-8", newline="") as file:
        numbers = {row["phone"] for row in csv.DictReader(file)}
    for path in story_files():
        numbers |= set(read_story(path).strangers.values())
    assert len(numbers) >= 6
    assert all(map(is_fictional, numbers))


def test_a_name_that_is_nobodys_is_a_slip_with_its_line(tmp_path):
    path = tmp_path / "slip.md"
    path.write_text("---\ntitle: t\nshows: s\nstarts: 2027-05-04 09:00\n---\n\n> Zed: Hi\n", encoding="utf-8")
    with pytest.raises(KnowledgeError, match=r"slip\.md:7: Zed is nobody"), stage_for(read_story(path)) as stage:
        list(stage.play())


def test_a_story_that_goes_another_way_is_noticed(tmp_path):
    path = tmp_path / "other.md"
    path.write_text(
        "---\ntitle: t\nshows: s\nstarts: 2027-05-04 09:00\n---\n\n"
        "> Ana: STOP\n\nSure!\n\n> Ana: START\n\n(no answer)\n",
        encoding="utf-8",
    )
    with stage_for(read_story(path)) as stage:
        assert [scene.as_written for scene in stage.play()] == [False, True]
