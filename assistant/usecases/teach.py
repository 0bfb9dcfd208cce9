"""What a person answered becomes knowledge: another way to ask a known topic, or a topic of its own.

Only the text of the files is made here; `edit_knowledge` tries it out and puts it to use.
"""

from __future__ import annotations

import json
import re

from assistant.assembly import Assistant
from assistant.usecases.edit_knowledge import file_text

GROUP = "own"
"""The group of topics that a business added itself."""
FEWEST = 3
"""Ways to ask a topic of its own needs: a model learns nothing from one."""


class NotTaught(ValueError):
    """Why it can't be taught this way; the message is for the person."""


def another_way_to_ask(app: Assistant, topic: str, language: str, question: str) -> dict[str, str]:
    """The topic's file with the question among its phrasings. Raises NotTaught."""
    answer = app.knowledge.answers.get(language, {}).get(topic)
    text = file_text(app, f"answers/{language}/{topic}.md")
    if answer is None or text is None:
        raise NotTaught("There is no such topic in the language of the question.")
    if answer.safety:
        raise NotTaught("Answers that protect people are not taught here.")
    lines = text.split("\n")
    begin = next((number for number, line in enumerate(lines) if line.startswith("phrasings:")), None)
    if begin is None or lines[begin].strip() != "phrasings:":
        raise NotTaught(f"answers/{language}/{topic}.md lists its phrasings in one line: add it there by hand.")
    end = begin + 1
    while end < len(lines) and re.match(r"\s+\S|\s*$|- ", lines[end]):
        end += 1
    lines.insert(end, f"  - {_quoted(question)}")
    return {f"answers/{language}/{topic}.md": "\n".join(lines)}


def topic_of_its_own(app: Assistant, title: str, answer: str, ways: list[str]) -> tuple[str, dict[str, str]]:
    """A new topic's id and its file. Raises NotTaught."""
    topic = re.sub(r"[^a-z0-9]+", "_", title.lower()).strip("_")[:60]
    ways = list(dict.fromkeys(_one_line(way) for way in ways if way.strip()))
    if not topic:
        raise NotTaught("Give the topic a short name, like: Winter cover straps.")
    if topic in app.knowledge.answers.get("en", {}):
        raise NotTaught(f"There is a topic of that name: choose it from the list, or another name than {title}.")
    if len(ways) < FEWEST:
        raise NotTaught(f"Write at least {FEWEST - 1} other ways to ask it, one a line.")
    head = [
        "---", f"topic: {topic}", f"group: {GROUP}", f"title: {_quoted(title)}", "verdict: none", "handover: never",
        "needs: []", f"short: {_quoted(answer)}", f"sources: [{_quoted(app.business.name)}]", "phrasings:",
    ]  # fmt: skip
    lines = [*head, *(f"  - {_quoted(way)}" for way in ways), "---", _one_line(answer), ""]
    return topic, {f"answers/en/{topic}.md": "\n".join(lines)}


def _quoted(text: str) -> str:
    """A JSON string is a YAML string, too."""
    return json.dumps(_one_line(text), ensure_ascii=False)


def _one_line(text: str) -> str:
    return " ".join(text.split())
