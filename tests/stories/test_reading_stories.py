"""The form of a story: what each paragraph is, and what is said about a slip."""

from __future__ import annotations

from datetime import datetime

import pytest

from assistant.domain.errors import KnowledgeError
from assistant.doors.stories.scenes import Scene, rewritten, scenes_of
from assistant.doors.stories.story import Kind, fits, read_story

STORY = """---
title: Two texts
shows: How a story is written.
starts: 2027-05-04 09:15
strangers:
  Gus: "+13055550177"
---

*Ana is at the dock.*

> Ana: Hi: one question
> and a second line

First answer.
1) Tue
2) Wed

(Nola is asked)

## The day after

[1 day later, 08:00]

To Ana: Good morning [...].

> Gus: Hello

(no answer)
"""


@pytest.fixture
def story(tmp_path):
    path = tmp_path / "one.md"
    path.write_text(STORY, encoding="utf-8")
    return read_story(path)


def test_paragraphs_are_told_apart(story):
    kinds = [paragraph.kind for paragraph in story.paragraphs]
    assert kinds == [Kind.ASIDE, Kind.SAYS, Kind.HAPPENS, Kind.HAPPENS, Kind.ASIDE, Kind.LATER, Kind.HAPPENS,
                     Kind.SAYS, Kind.HAPPENS]  # fmt: skip


def test_a_text_has_a_sender_and_may_have_lines_and_colons(story):
    assert story.paragraphs[1].spoken == ("Ana", "Hi: one question\nand a second line")
    assert story.paragraphs[1].line == 11


def test_what_is_written_below_a_step_belongs_to_it(story):
    written = [expected for _, expected in scenes_of(story.paragraphs)]
    assert written == [("First answer.\n1) Tue\n2) Wed", "(Nola is asked)"), ("To Ana: Good morning [...].",),
                       ("(no answer)",)]  # fmt: skip


def test_strangers_have_numbers(story):
    assert story.strangers == {"Gus": "+13055550177"}
    assert story.starts == datetime(2027, 5, 4, 9, 15)


@pytest.mark.parametrize(
    ("written", "moment"),
    [
        ("[20 minutes later]", datetime(2027, 5, 4, 9, 35)),
        ("[1 day later, 08:00]", datetime(2027, 5, 5, 8, 0)),
        ("[2 weeks later]", datetime(2027, 5, 18, 9, 15)),
        ("[6 months later, 10:30]", datetime(2027, 11, 4, 10, 30)),
    ],
)
def test_time_jumps_are_counted_on_the_wall(tmp_path, written, moment):
    path = tmp_path / "jump.md"
    path.write_text(STORY.replace("[1 day later, 08:00]", written), encoding="utf-8")
    jump = next(one for one in read_story(path).paragraphs if one.kind is Kind.LATER)
    assert jump.after(datetime(2027, 5, 4, 9, 15)) == moment


@pytest.mark.parametrize(
    ("before", "after", "line", "remedy"),
    [
        ("starts: 2027-05-04 09:15\n", "", 1, "Begin the file with ---"),
        ("starts: 2027-05-04 09:15", "starts: soon", 1, "Begin the file with ---"),
        ("[1 day later, 08:00]", "[tomorrow]", 22, "2 days later"),
        ("> Gus: Hello", "> Hello", 26, "Write '> Ana: Hi'"),
        ("*Ana is at the dock.*", "Ana is at the dock.", 9, "Put '> Ana: ...' before it"),
    ],
)
def test_a_slip_is_named_with_its_line_and_remedy(tmp_path, before, after, line, remedy):
    path = tmp_path / "slip.md"
    assert before in STORY
    path.write_text(STORY.replace(before, after), encoding="utf-8")
    with pytest.raises(KnowledgeError) as refusal:
        read_story(path)
    (problem,) = refusal.value.problems
    assert problem.line == line
    assert remedy in problem.remedy


@pytest.mark.parametrize(
    ("written", "happened", "same"),
    [
        ("Hi Ana", "Hi Ana", True),
        ("Hi Ana", "Hi Ana!", False),
        ("Hi [...]!", "Hi Ana\nand Bert!", True),
        ("Hi [...]!", "Hi Ana", False),
        ("1+1 (two)", "1+1 (two)", True),
    ],
)
def test_only_the_mark_for_any_text_is_lenient(written, happened, same):
    assert fits(written, happened) is same


def test_rewriting_keeps_texts_and_asides_and_replaces_what_happens(story):
    scenes = [Scene(step, written, (f"answer {number}",))
              for number, (step, written) in enumerate(scenes_of(story.paragraphs))]  # fmt: skip
    again = rewritten(story, scenes)
    story.path.write_text(again, encoding="utf-8")
    reread = read_story(story.path)
    assert [paragraph.written for paragraph in reread.paragraphs if paragraph.kind is not Kind.HAPPENS] == [
        paragraph.written for paragraph in story.paragraphs if paragraph.kind is not Kind.HAPPENS
    ]
    assert [written for _, written in scenes_of(reread.paragraphs)] == [("answer 0",), ("answer 1",), ("answer 2",)]


def test_an_unwritten_or_missing_happening_counts_as_strayed(story):
    step, written = next(iter(scenes_of(story.paragraphs)))
    assert Scene(step, written, written).as_written
    assert not Scene(step, written, written[:1]).as_written
    assert not Scene(step, written, (*written, "more")).as_written
