"""What must hold across the files of knowledge/: references, carrier words, text lengths, repeated phrasings."""

from __future__ import annotations

import re
from collections.abc import Iterator

from assistant.domain.errors import Problem
from assistant.domain.knowledge import Answer, Knowledge
from assistant.domain.nudge_texts import problems_in
from assistant.domain.wording import PLACEHOLDERS, placeholders_in

CARRIER_WORDS = ["STOPALL", "UNSUBSCRIBE", "CANCEL", "END", "QUIT", "REVOKE", "OPTOUT", "STOP", "START", "YES", "UNSTOP"]
_ASKED_FOR = re.compile(
    r"\b(?:text|reply|send|answer|say|responde|escribe|manda|contesta|di|envia)\s+(?:me\s+|us\s+|with\s+|back\s+)*"
    rf"[\"']?({'|'.join(CARRIER_WORDS)})\b",
    re.IGNORECASE,
)
_STOP_INSTRUCTION = re.compile(
    r"\b(?:text|reply|responde|escribe|manda|env[ií]a) STOP to (?:opt out|end)|STOP (?:para|to|=)", re.IGNORECASE
)
MIX_GROUPS = frozenset(
    ["bleach", "acid", "strong_acid", "ammonia", "alcohol", "acetone", "peroxide", "oxy", "pool_chlorine", "strong_alkali", "drain_opener", "quat", "solvent", "oil_drying", "other_cleaner", "metal_acid"]
)
LONGEST = 480
"""Characters of an answer before its placeholders are filled; three segments hold 459 once filled."""


def check_together(knowledge: Knowledge) -> Iterator[Problem]:
    """Every problem that shows only when the files are seen together."""
    yield from _references(knowledge)
    for answers in knowledge.answers.values():
        for answer in answers.values():
            yield from _texts(answer)
        yield from _repeated(answers.values())
    yield from _wording(knowledge)
    yield from problems_in(knowledge.nudges)


def _references(knowledge: Knowledge) -> Iterator[Problem]:
    for soil in knowledge.soils.values():
        if soil.topic not in knowledge.answers["en"]:
            yield Problem("knowledge/soils.csv", None, f"soil {soil.id!r} names topic {soil.topic!r}, which has no answer",
                          f"Add knowledge/answers/en/{soil.topic}.md or name another topic")  # fmt: skip
    for surface in knowledge.surfaces.values():
        if surface.counts_as not in knowledge.surfaces:
            yield Problem("knowledge/surfaces.csv", None, f"{surface.id!r} counts as unknown {surface.counts_as!r}",
                          "Name a base surface")  # fmt: skip
    for substance in knowledge.substances.values():
        for group in sorted(substance.mixes_as - MIX_GROUPS):
            yield Problem("knowledge/substances.csv", None, f"{substance.id!r} has mixing group {group!r}",
                          f"Use one of: {', '.join(sorted(MIX_GROUPS))}")  # fmt: skip
    if "other" not in knowledge.countries:
        yield Problem("knowledge/countries.csv", None, "row 'other' is missing", "Add it, without numbers")
    for topic in sorted(knowledge.answers["es"].keys() - knowledge.answers["en"].keys()):
        yield Problem(f"knowledge/answers/es/{topic}.md", None, "has no English file of the same topic", "Add it")


def _texts(answer: Answer) -> Iterator[Problem]:
    shown = f"knowledge/answers/{answer.language}/{answer.topic}.md"
    for text in (answer.text, answer.short, *(text for _, text in answer.variants)):
        if len(text) > LONGEST:
            yield Problem(shown, None, f"a text has {len(text)} characters", f"Keep it under {LONGEST}")
        asked = asks_for_carrier_word(text)
        if asked:
            yield Problem(shown, None, f"asks for the word {asked}, which the carrier acts on",
                          "Ask for a number, OK, MOVE or DROP")  # fmt: skip


def asks_for_carrier_word(text: str) -> str:
    """The carrier keyword that a text asks its reader to send, or nothing. A plain STOP opt-out line is fine."""
    found = _ASKED_FOR.search(_STOP_INSTRUCTION.sub("", text))
    return found[1].upper() if found else ""


def _repeated(answers: object) -> Iterator[Problem]:
    seen: dict[str, str] = {}
    for answer in answers:  # type: ignore[attr-defined]
        for phrasing in answer.phrasings:
            words = " ".join(re.findall(r"\w+", phrasing.lower()))
            other = seen.setdefault(words, answer.topic)
            if other != answer.topic:
                yield Problem(f"knowledge/answers/{answer.language}/{answer.topic}.md", None,
                              f"phrasing {phrasing!r} stands in {other!r} too", "Leave it in one topic")  # fmt: skip


def _wording(knowledge: Knowledge) -> Iterator[Problem]:
    for language, sentences in knowledge.wording.items():
        for id, text in sentences.items():
            shown = f"knowledge/wording/{language}.csv"
            for name in placeholders_in(text):
                if name not in PLACEHOLDERS:
                    yield Problem(shown, None, f"{id!r} uses unknown {{{name}}}", "See the list in knowledge/README.md")
            if asked := asks_for_carrier_word(text):
                yield Problem(shown, None, f"{id!r} asks for {asked}, which the carrier acts on", "Ask for OK or a number")
        for id in sorted(knowledge.wording["en"].keys() - sentences.keys()):
            yield Problem(f"knowledge/wording/{language}.csv", None, f"{id!r} is missing", "Translate it")
