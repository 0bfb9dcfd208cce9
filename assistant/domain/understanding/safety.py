"""Safety before every other reading: mixtures, fumes, eyes, swallowing, shock in the water, carbon monoxide, falls.

Cue words stand in knowledge/signals.csv; the rules that combine them stand here. A miss is worse than a false alarm,
but a question about a harmless thing must not be drowned in warnings, so each rule wants a context.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache

from assistant.domain.knowledge import Knowledge, Mixture
from assistant.domain.understanding import acts
from assistant.domain.understanding.reading import Evidence, Spotted

MIXED = re.compile(
    r"\b(?:mix(?:ed|ing|es|ture)?|combin(?:e|ed|ing)|together|blend(?:ed)?|add(?:ed|ing)?|pour(?:ed)? (?:in|into|on)|plus|on top of|with|and|then|after|followed by|over|into|&|\+|"
    r"mezcl\w*|junt\w*|combin\w*|con|y|luego|despues|encima)\b"
)
MIX_WORD = re.compile(r"\b(?:mix(?:ed|ing|ture)?|combin(?:e|ed|ing)|blend(?:ed)?|together|mezcl\w*|combin\w*|junt\w*)\b")


def signals_in(folded: str, knowledge: Knowledge) -> dict[str, str]:
    """Signal -> the words that gave it, over both languages."""
    found = {}
    for signal, pattern in _patterns(_Key(knowledge.signals)).items():
        match = pattern.search(folded)
        if match:
            found[signal] = match[0]
    return found


class _Key:
    """Wraps the signals so that compiled patterns are kept per knowledge."""

    def __init__(self, signals: Mapping[str, Mapping[str, tuple[str, ...]]]) -> None:
        self.signals = signals

    def __hash__(self) -> int:
        return id(self.signals)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Key) and other.signals is self.signals


@lru_cache(maxsize=4)
def _patterns(key: _Key) -> dict[str, re.Pattern[str]]:
    return {
        signal: re.compile(r"(?<!\w)(?:" + "|".join(_cue(cue) for said in by.values() for cue in said) + r")(?!\w)")
        for signal, by in key.signals.items()
    }


def _cue(cue: str) -> str:
    """A cue as a pattern: blanks match any white space, * any word ending."""
    from assistant.domain.understanding.text import fold

    return re.escape(fold(cue)).replace(r"\ ", r"\s+").replace(r"\*", r"\w*")


def mixture(folded: str, spotted: Sequence[Spotted], knowledge: Knowledge) -> tuple[Mixture, Spotted, Spotted] | None:
    """Two named things of groups that must not meet, in one breath with a word of joining."""
    named = [term for term in spotted if term.kind == "substance" and not term.negated and term.id in knowledge.substances]
    harmless = None
    for i, first in enumerate(named):
        for second in named[i + 1 :]:
            if first.id == second.id or not MIXED.search(folded[min(first.end, second.end) - 1 : second.end]):
                continue
            found = _mixture_of(first.id, second.id, knowledge)
            if found and found.danger:
                return found, first, second
            harmless = harmless or ((found, first, second) if found else None)
    return harmless


def _mixture_of(a: str, b: str, knowledge: Knowledge) -> Mixture | None:
    one, other = knowledge.substances[a].mixes_as, knowledge.substances[b].mixes_as
    matches = [
        row for row in knowledge.mixtures
        if (row.a in one and row.b in other) or (row.b in one and row.a in other)
    ]  # fmt: skip
    return next((row for row in matches if row.danger), matches[0] if matches else None)


def safety_topic(folded: str, spotted: Sequence[Spotted], knowledge: Knowledge) -> tuple[str, Evidence] | None:
    """The safety answer this text needs, with its evidence, or None."""
    cues = signals_in(folded, knowledge)
    for topic, needed, any_of in _RULES:
        if all(cue in cues for cue in needed) and (not any_of or any(cue in cues for cue in any_of)):
            words = " / ".join(cues[cue] for cue in (*needed, *(c for c in any_of if c in cues)))
            if not (topic in _QUIET_WHEN_CALM and "calm" in cues):
                return topic, Evidence(words, topic, "safety cue words")
    return _mixing(folded, spotted, knowledge, cues)


_RULES: tuple[tuple[str, tuple[str, ...], tuple[str, ...]], ...] = (
    ("person_overboard", ("overboard",), ()),
    ("shock_in_water", ("tingle", "water_contact"), ()),
    ("shock_in_water", ("electric", "water_contact"), ()),
    ("fluoride_skin", ("fluoride", "skin_contact"), ()),
    ("washer_wound", ("washer", "wound"), ()),
    ("swallowed", ("swallow",), ("chemical", "person")),
    ("eyes", ("eye_contact",), ()),
    ("carbon_monoxide", ("dizzy",), ("engine", "cabin")),
    ("carbon_monoxide", ("monoxide_alarm",), ()),
    ("fumes", ("breathing",), ("chemical", "fume", "cabin")),
    ("fumes", ("dizzy",), ("chemical", "fume")),
    ("skin_burn", ("skin_contact",), ()),
    ("fire", ("fire",), ()),
    ("slip_fall", ("fell",), ()),
    ("sinking_or_flooding", ("sinking",), ()),
    ("wash_from_water", ("in_the_water", "washing"), ()),
    ("swim_at_dock", ("swim",), ("dock",)),
    ("fuel_on_water", ("sheen",), ()),
    ("fuel_on_water", ("fuel", "on_the_water"), ()),
)
_QUIET_WHEN_CALM = frozenset({"fire", "slip_fall"})


def _mixing(
    folded: str, spotted: Sequence[Spotted], knowledge: Knowledge, cues: Mapping[str, str]
) -> tuple[str, Evidence] | None:
    met = mixture(folded, spotted, knowledge)
    if met is None or not met[0].danger:
        return None
    row, first, second = met
    between = folded[min(first.end, second.end) - 1 : second.end]
    joined = bool(MIX_WORD.search(folded)) or bool(re.search(r"\b(?:then|after|followed by|on top|into|luego|despues)\b", folded))
    groups = knowledge.substances[first.id].mixes_as | knowledge.substances[second.id].mixes_as
    # "bleach or vinegar?" asks for a choice; "soap and bleach" only counts when something says they meet
    if re.search(r"\b(?:or|vs|versus|instead|o)\b", between) and not MIX_WORD.search(folded):
        return None
    if "other_cleaner" in {row.a, row.b} and not joined:
        return None
    if not joined and not ({"bleach", "pool_chlorine", "peroxide"} & groups):
        return None
    done = acts.reports(folded) or "fume" in cues or "breathing" in cues
    topic = "mixed_cleaners" if done and not re.search(r"\b(?:can|could|should|ok|safe|puedo) (?:i|we|to)?\b", between) else "mixing_ask"
    return topic, Evidence(f"{first.words} + {second.words}", row.id, "dangerous mixture")


def negated(found: Iterable[Spotted]) -> set[str]:
    """Ids named only to be ruled out."""
    return {term.id for term in found if term.negated}
