"""Scenes: the steps of a story beside what is written to follow them and what did."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from assistant.doors.stories.story import Kind, Paragraph, Story, fits


@dataclass(frozen=True, slots=True)
class Scene:
    """A text or a time jump, what is written to follow, and what did follow."""

    step: Paragraph
    written: tuple[str, ...]
    happened: tuple[str, ...]

    @property
    def as_written(self) -> bool:
        """True when everything happened as it stands in the story."""
        return len(self.written) == len(self.happened) and all(map(fits, self.written, self.happened))


def scenes_of(paragraphs: Iterable[Paragraph]) -> Iterator[tuple[Paragraph, tuple[str, ...]]]:
    """Every step with what is written to follow it."""
    step: Paragraph | None = None
    written: list[str] = []
    for paragraph in paragraphs:
        if paragraph.kind is Kind.HAPPENS:
            written.append(paragraph.written)
        elif paragraph.kind is not Kind.ASIDE:
            if step:
                yield step, tuple(written)
            step, written = paragraph, []
    if step:
        yield step, tuple(written)


def rewritten(story: Story, scenes: Iterable[Scene]) -> str:
    """The story as it happened: for an author who has read the new answers and agrees with them."""
    happened = {scene.step.line: scene.happened for scene in scenes}
    kept = [paragraph for paragraph in story.paragraphs if paragraph.kind is not Kind.HAPPENS]
    blocks = [block for paragraph in kept for block in (paragraph.written, *happened.get(paragraph.line, ()))]
    return story.head + "\n" + "\n\n".join(blocks) + "\n"
