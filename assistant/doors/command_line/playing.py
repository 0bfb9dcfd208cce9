"""`demo`: plays the stories that come with the program, as dialogues one can read along."""

from __future__ import annotations

import argparse
import logging
import textwrap
from pathlib import Path
from typing import Any

from assistant.domain.errors import SettingsError
from assistant.doors.stories.scenes import Scene, rewritten
from assistant.doors.stories.stage import stage_for, story_files
from assistant.doors.stories.story import Kind, Story, read_story
from assistant.settings import Settings

WIDTH = 78
INDENT = " " * 12


def add_commands(commands: Any) -> None:
    """Add this group's commands."""
    demo = commands.add_parser("demo", help="play the stories on fresh data: nothing is needed, nothing leaves")
    demo.add_argument("stories", nargs="*", metavar="STORY", help="files or names; all of them without any")
    demo.add_argument(
        "--rewrite", action="store_true", help="for authors: put what happened in the place of what was written"
    )
    demo.set_defaults(run=play_stories)


def play_stories(given: argparse.Namespace, settings: Settings) -> int:
    """Play, print, and say whether all went as written."""
    logging.getLogger("assistant").setLevel(logging.ERROR)
    strayed = [path for path in _chosen(given.stories) if not _play(path, rewrite=given.rewrite)]
    for path in strayed:
        print(f"{path.name}: did not go as written")
    if not strayed:
        print("Everything happened as written.")
    return 1 if strayed and not given.rewrite else 0


def _chosen(names: list[str]) -> list[Path]:
    """The files meant by the names given. Raises SettingsError for a name without a story."""
    ours = story_files()
    if not names:
        return ours
    chosen = []
    for name in names:
        found = [Path(name)] if Path(name).is_file() else [path for path in ours if name in path.stem]
        if not found:
            raise SettingsError(f"there is no story {name}: the stories are {', '.join(path.stem for path in ours)}")
        chosen.extend(found)
    return chosen


def _play(path: Path, *, rewrite: bool) -> bool:
    """Play one story; True when all went as written."""
    story = read_story(path)
    _announce(story)
    scenes = []
    with stage_for(story) as stage:
        for scene in stage.play():
            _show(scene)
            scenes.append(scene)
    if rewrite:
        path.write_text(rewritten(story, scenes), encoding="utf-8")
    return all(scene.as_written for scene in scenes)


def _announce(story: Story) -> None:
    print("=" * WIDTH)
    print(f"{story.title}  ({story.starts:%A %d %B %Y, %H:%M})")
    print(textwrap.fill(story.shows, WIDTH))
    print("=" * WIDTH)


def _show(scene: Scene) -> None:
    """The client at the left, the assistant at the right, and what should have been where it differs."""
    if scene.step.kind is Kind.LATER:
        print(f"\n{scene.step.written.center(WIDTH)}")
    else:
        who, text = scene.step.spoken
        print("\n" + textwrap.fill(f"{who}: {text}", WIDTH - len(INDENT), subsequent_indent="  "))
    for happened in scene.happened:
        print(_at_right(happened))
    if not scene.as_written:
        print(f"\n  NOT AS WRITTEN in line {scene.step.line}. Written is:")
        for written in scene.written or ("nothing",):
            print(_at_right(written))
    print(end="", flush=True)


def _at_right(text: str) -> str:
    lines = [textwrap.fill(line, WIDTH, initial_indent=INDENT, subsequent_indent=INDENT) for line in text.split("\n")]
    return "\n" + "\n".join(lines)
