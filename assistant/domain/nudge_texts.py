"""What the nudge files say: their rules, and the one text made of the nudges that are due together."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from assistant.domain import sms, wording
from assistant.domain.consent import MARKETING, SERVICE
from assistant.domain.conversation.scene import Scene
from assistant.domain.conversation.values import conditions_for, tidy, values_for
from assistant.domain.errors import Problem
from assistant.domain.knowledge import Knowledge, NudgeText
from assistant.domain.nudge_values import CARE_PACK_PARTS, KINDS, OPT_OUT_LINE, Nudge, rules_of

SEGMENTS = 2
"""What a nudge may cost; only the care pack may have one more."""
OPT_OUT_ONCE = frozenset({"US"})
"""Countries where the first marketing text tells how to opt out; elsewhere (PECR, CASL) each one does."""
_SENTENCES = re.compile(r"(?<=[.!?]) ")
_VESSEL = "\0"
"""Stands for the vessel's name while texts are compared."""


@dataclass(frozen=True, slots=True)
class Composed:
    """One text and the nudges it tells of."""

    text: str
    consent: str
    nudges: tuple[Nudge, ...]

    @property
    def kinds(self) -> tuple[str, ...]:
        """Their kinds, the leading one first."""
        return tuple(dict.fromkeys(nudge.kind for nudge in self.nudges))


def compose(nudges: Sequence[Nudge], scene: Scene, marketed_before: bool) -> Composed:
    """One text of at most two segments: the first nudge in full, of the others as many as there is room for.

    Nudges that say the same of several vessels are said once, with all the names.
    """
    groups = _said_together(nudges, scene)
    lead = groups[0]
    told = next(some for some in (lead[:count] for count in range(len(lead), 0, -1))
                if len(some) == 1 or _fits(_in_full(some, scene), some, scene, marketed_before))  # fmt: skip
    parts = _in_full(told, scene)
    for group in groups[1:]:
        also = nudge_text(group[0].kind, scene).rules.get("also", "")
        more = [*parts, _filled(also, group, scene)]
        if also and _fits(more, [*told, *group], scene, marketed_before):
            parts, told = more, [*told, *group]
    return Composed(_whole(parts, told, scene, marketed_before), _consent(told, scene.knowledge), tuple(told))


def nudge_text(kind: str, scene: Scene) -> NudgeText:
    """The file of a kind in the scene's language, or else in English. KeyError when there is none."""
    nudges = scene.knowledge.nudges
    return nudges.get(scene.language, {}).get(kind) or nudges["en"][kind]


def text_of(nudge: Nudge, scene: Scene) -> str:
    """One nudge alone, in full."""
    return sms.cheap(sms.plain(_filled(nudge_text(nudge.kind, scene), [nudge], scene)), SEGMENTS)


def values_of(nudge: Nudge, scene: Scene) -> dict[str, str]:
    """Every placeholder, as it stands for this nudge's own vessel, coat, event or visit."""
    values = values_for(scene, nudge.vessel)
    if nudge.coat:
        life = nudge.coat.life
        values |= {
            "coating": scene.named("coatings", life.application.coating),
            "surface": wording.join_words([scene.named("surfaces", s) for s in nudge.coat.surfaces], scene.language),
            "applied_on": scene.day(life.application.applied_on),
            "used": f"{life.used_percent}%",
            "due_on": scene.day(life.due_on),
            "due_range": scene.say("range", first=scene.day(max(life.due_from, scene.today)), second=scene.day(life.due_to)),
        }
    if nudge.event:
        unnamed = nudge_text(nudge.kind, scene).rules.get("unnamed", "")
        named = scene.named("substances", nudge.event.substance) if nudge.event.substance else unnamed
        values["substance"] = named
    if nudge.when:
        values["when"] = scene.day(nudge.when)
    if nudge.visit:
        values |= _of_visit(nudge, scene)
    return values


def _of_visit(nudge: Nudge, scene: Scene) -> dict[str, str]:
    visit = nudge.visit
    if visit is None:
        return {}
    boats = [scene.name_of(boat) for boat in scene.situation.vessels if boat.id in visit.vessel_ids]
    service = scene.situation.business.services.get(visit.service)
    named = (service.name.get(scene.language) or service.name.get("en", service.id)) if service else visit.service
    when = wording.moment_text(visit.begins, visit.zone, scene.language, scene.today)
    return {
        "vessel": wording.join_words(boats, scene.language) or scene.name_of(None),
        "service": named,
        "when": f"{when}, {visit.place}" if visit.place else when,
    }


def _said_together(nudges: Sequence[Nudge], scene: Scene) -> list[list[Nudge]]:
    """Nudges whose texts differ in nothing but the vessel's name, in the order given."""
    groups: dict[tuple[str, str], list[Nudge]] = {}
    for nudge in nudges:
        said = wording.fill(_variant(nudge_text(nudge.kind, scene), nudge, scene), _nameless(nudge, scene))
        groups.setdefault((nudge.kind, said), []).append(nudge)
    return list(groups.values())


def _nameless(nudge: Nudge, scene: Scene) -> dict[str, str]:
    return values_of(nudge, scene) | {"vessel": _VESSEL}


def _filled(wanted: NudgeText | str, group: Sequence[Nudge], scene: Scene) -> str:
    """A file's text, or a sentence of its rules, for one or several vessels."""
    text = wanted if isinstance(wanted, str) else _variant(wanted, group[0], scene)
    names = [values_of(nudge, scene)["vessel"] for nudge in group]
    vessels = wording.join_words(list(dict.fromkeys(names)), scene.language)
    return tidy(wording.fill(text, values_of(group[0], scene) | {"vessel": vessels}))


def _variant(text: NudgeText, nudge: Nudge, scene: Scene) -> str:
    """The first variant that applies to this nudge, else the main text."""
    holds = conditions_for(scene, nudge.vessel, None) | nudge.holds
    return next((variant for condition, variant in text.variants if condition in holds), text.text)


def _consent(nudges: Iterable[Nudge], knowledge: Knowledge) -> str:
    """A text that sells anything needs the consent to be sold to."""
    asked = {knowledge.nudges["en"][nudge.kind].consent for nudge in nudges}
    return MARKETING if MARKETING in asked else SERVICE


def _in_full(group: Sequence[Nudge], scene: Scene) -> list[str]:
    return [_filled(nudge_text(group[0].kind, scene), group, scene)]


def _fits(parts: Sequence[str], told: Sequence[Nudge], scene: Scene, marketed_before: bool) -> bool:
    line = _opt_out_line(told, scene, marketed_before)
    return sms.measure(sms.cheap(sms.plain(" ".join([*parts, *line])), SEGMENTS)).segments <= SEGMENTS


def _whole(parts: Sequence[str], told: Sequence[Nudge], scene: Scene, marketed_before: bool) -> str:
    """The parts as one text, with how to opt out where that must be said; too long a text loses its last sentences."""
    line = _opt_out_line(told, scene, marketed_before)
    sentences = _SENTENCES.split(" ".join(parts))
    while len(sentences) > 1 and not _fits(sentences, told, scene, marketed_before):
        sentences.pop()
    return sms.cheap(sms.plain(" ".join([*sentences, *line])), SEGMENTS)


def _opt_out_line(told: Sequence[Nudge], scene: Scene, marketed_before: bool) -> list[str]:
    client = scene.situation.client
    country = client.country if client else scene.situation.business.country
    needed = _consent(told, scene.knowledge) == MARKETING and not (marketed_before and country in OPT_OUT_ONCE)
    return [nudge_text(OPT_OUT_LINE, scene).text] if needed else []


def problems_in(nudges: Mapping[str, Mapping[str, NudgeText]]) -> Iterator[Problem]:
    """What is wrong in the nudge files taken together: rules that can't be read, kinds nobody sends, no name."""
    for language, texts in nudges.items():
        for kind, text in texts.items():
            for problem, remedy in (*_odd_kind(text, nudges["en"].get(kind)), *_odd_rules(text), *_odd_words(text)):
                yield Problem(f"knowledge/nudges/{language}/{kind}.md", None, problem, remedy)


def _odd_kind(text: NudgeText, english: NudgeText | None) -> Iterator[tuple[str, str]]:
    if text.kind not in KINDS:
        yield f"nobody sends kind {text.kind!r}", f"Use one of: {', '.join(KINDS)}"
    elif english is None:
        yield "has no English file of the same kind", "Add it"
    elif english.consent != text.consent:
        yield f"consent is {text.consent!r}, in English it is {english.consent!r}", "Make them equal"


def _odd_rules(text: NudgeText) -> Iterator[tuple[str, str]]:
    try:
        rules_of(text)
    except ValueError as trouble:
        yield str(trouble), "Write a whole number, yes or no, or a known word"
    for part in CARE_PACK_PARTS if text.kind == "care_pack" else ():
        if part not in text.rules:
            yield f"{part} is missing", f'Add a line {part}: "..."'


def _odd_words(text: NudgeText) -> Iterator[tuple[str, str]]:
    for said in (text.text, *(variant for _, variant in text.variants)):
        if text.kind != OPT_OUT_LINE and "{business}" not in said:
            yield "a text does not name the business", "Begin it with {business}"
