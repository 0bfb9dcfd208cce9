"""Care questions: may I use this, I already used that, what does this label mean. Verdicts come from `substances`."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from assistant.domain import coatings, substances
from assistant.domain.conversation.decision import AskClient, Change, HandOver, LogCare
from assistant.domain.conversation.scene import Piece, Scene, soon
from assistant.domain.conversation.values import answer_text, short_text, tidy, values_for
from assistant.domain.knowledge import Answer, Substance
from assistant.domain.people import CareEvent, CareKind, Vessel
from assistant.domain.understanding import acts
from assistant.domain.understanding.labels import Label, read_label
from assistant.domain.understanding.reading import Ask

AREA_SHARE = {"spot": Decimal("0.1"), "side": Decimal("0.3"), "whole_boat": Decimal(1)}
STRIPPING = frozenset({"solvent", "abrasive"})
ACID_CLASSES = frozenset({"acid", "strong_acid"})
NEUTRAL = (6.0, 8.0)
"""pH words: acid under 6, alkaline over 8 (common practice, no source); an unknown product must be inside."""
LABEL_LIMITS = (5.0, 9.0)
"""Outside these an unknown product is treated as an acid or alkali."""


def may_use(ask: Ask, scene: Scene, vessel: Vessel | None) -> Piece:
    """The verdict on one or more substances or tools, in the client's words."""
    ids = [id for id in ask.ids("substance") if id in scene.knowledge.substances]
    if not ids:
        return unknown_product(ask, scene, vessel)
    label = read_label(ask.words, scene.knowledge)
    pieces = [_one_verdict(scene.knowledge.substances[id], ask, scene, vessel, label) for id in ids[:3]]
    if len(pieces) == 1:
        return pieces[0]
    worst = min(pieces, key=lambda piece: {"no": 0, "careful": 1, "yes": 2}[piece.verdict or "yes"])
    if len({piece.verdict for piece in pieces}) == 1:
        return replace(pieces[0], text=" ".join(piece.short for piece in pieces), why=worst.why)
    return replace(worst, text=" ".join(piece.short for piece in pieces), why="; ".join(p.why for p in pieces))


def _one_verdict(row: Substance, ask: Ask, scene: Scene, vessel: Vessel | None, label: Label) -> Piece:
    judgement = _judge(row, ask, scene, vessel)
    if judgement.verdict != "no" and label.ph is not None and not LABEL_LIMITS[0] <= label.ph <= LABEL_LIMITS[1]:
        return _label_piece(label, "no", row, scene)
    own = _own_answer(row, ask, scene, judgement.verdict)
    if own is not None:
        text = answer_text(own, scene, vessel, ask)
        return Piece(text, short_text(own, scene, vessel, ask), own.topic, judgement.verdict, why=judgement.evidence)
    words = _words(row, ask, scene, vessel, judgement)
    text = scene.say(_sentence(row, judgement), **words)
    if judgement.verdict == "no" and judgement.because not in {"keep_dry", "no_soap"} and _mixes(row):
        text += " " + scene.say("verdict.never_mix")
    short = scene.say(f"verdict.short.{judgement.verdict}", **words)
    remember = {"substance": [row.id]}
    return Piece(tidy(text), tidy(short), "may_use", judgement.verdict, why=judgement.evidence, remember=remember)


WELL_KNOWN_TO_FILES = frozenset({"coating", "polymer", "wax", "biocide", "water", "other"})
"""Things whose use is a matter of how and where: their answer files weigh it better than a table."""
ORDER = {"no": 0, "careful": 1, "yes": 2}


def stricter_than_file(ask: Ask, scene: Scene, vessel: Vessel | None) -> Piece | None:
    """For a topic with a verdict of its own: the computed verdict, where leave is asked for a named substance and the
    file is milder, or is about that very thing and says otherwise."""
    answer = scene.knowledge.answer(ask.topic, scene.language)
    if not ask.permission or answer is None or answer.verdict is None or answer.safety or not ask.ids("substance"):
        return None
    piece = may_use(ask, scene, vessel)
    if piece.verdict is None or piece.verdict == answer.verdict:
        return None
    about = scene.knowledge.about.get(ask.topic) in ask.ids("substance")
    rows = [scene.knowledge.substances[id] for id in ask.ids("substance") if id in scene.knowledge.substances]
    if not about and not any(row.kind == "substance" and row.cls not in WELL_KNOWN_TO_FILES for row in rows):
        return None
    return piece if about or ORDER[piece.verdict] < ORDER[answer.verdict] else None


def _judge(row: Substance, ask: Ask, scene: Scene, vessel: Vessel | None) -> substances.Judgement:
    coating = scene.coating_of(vessel)
    named = [id for id in ask.ids("coating") if id in scene.knowledge.coatings]
    coat = named[0] if named else coating.id if coating else "sealant"
    fresh = scene.freshness(vessel)
    surfaces = ask.ids("surface") or ("",)
    return substances.strictest([substances.judge(row, on, coat, fresh, scene.knowledge) for on in surfaces])


def _mixes(row: Substance) -> bool:
    return bool(row.mixes_as & {"bleach", "ammonia", "acid", "strong_acid", "pool_chlorine", "peroxide"})


def _own_answer(row: Substance, ask: Ask, scene: Scene, verdict: str) -> Answer | None:
    """The topic's own prose, where it is about this very thing and says the same."""
    if scene.knowledge.about.get(ask.topic) != row.id:
        return None
    answer = scene.knowledge.answer(ask.topic, scene.language)
    return answer if answer and answer.verdict == verdict and len(ask.ids("substance")) == 1 else None


def _sentence(row: Substance, judgement: substances.Judgement) -> str:
    if judgement.because in {"keep_dry", "no_soap", "slippery"}:
        return f"verdict.{judgement.because}"
    if judgement.level is None and judgement.verdict == "careful":
        return "verdict.unknown"
    return "verdict.no_ask" if judgement.verdict == "no" and row.verdict == "ask" else f"verdict.{judgement.verdict}"


def _words(
    row: Substance, ask: Ask, scene: Scene, vessel: Vessel | None, judgement: substances.Judgement
) -> dict[str, str]:
    values = values_for(scene, vessel, ask)
    language = scene.language
    values["substance"] = row.name.get(language) or row.name["en"]
    values["surface"] = _surface_words(ask, scene, vessel)
    values["why"] = _why(row, scene, judgement)
    values["instead"] = _instead(row, ask, scene, judgement)
    return values


def _surface_words(ask: Ask, scene: Scene, vessel: Vessel | None) -> str:
    named = ask.ids("surface")
    if named:
        return scene.say("surface.named", surface=scene.named("surfaces", named[0]))
    coating = scene.coating_of(vessel)
    return scene.say(f"surface.default.{coating.id if coating else 'sealant'}")


def _why(row: Substance, scene: Scene, judgement: substances.Judgement) -> str:
    if judgement.because == "surface" and judgement.level and judgement.base_surface != "gelcoat":
        return scene.say(f"why.surface.{judgement.base_surface}")
    return row.why.get(scene.language) or row.why["en"]


def _instead(row: Substance, ask: Ask, scene: Scene, judgement: substances.Judgement) -> str:
    """What to do instead: the soil's own steps when a soil was named, else the row's advice."""
    soils = ask.ids("soil")
    if soils and judgement.verdict != "yes":
        answer = scene.knowledge.answer(scene.knowledge.soils[soils[0]].topic, scene.language)
        if answer:
            return short_text(answer, scene, None, ask)
    return row.instead.get(scene.language) or row.instead["en"]


def used_something(ask: Ask, scene: Scene, vessel: Vessel | None) -> Piece:
    """Something was used already: first aid for the finish, the debit recorded, the new estimate told."""
    rows = [scene.knowledge.substances[id] for id in ask.ids("substance") if id in scene.knowledge.substances]
    if not rows:
        return unknown_product(ask, scene, vessel)
    judged = [(row, _judge(row, ask, scene, vessel)) for row in rows]
    row, judgement = min(judged, key=lambda pair: {"no": 0, "careful": 1, "yes": 2}[pair[1].verdict])
    change = _debit(row, judgement, ask, scene, vessel)
    words = _words(row, ask, scene, vessel, judgement)
    verdict = judgement.verdict if acts.asks_whether_ok(ask.words) else None
    before, after = _before_after(change, scene, vessel)
    if judgement.verdict == "yes":
        text = scene.say("report.yes", **words)
    elif judgement.because == "surface" and judgement.base_surface != "gelcoat":
        text = scene.say("report.no_surface", **words)
    else:
        text = _report_text(judgement.verdict, change, before, after, words, scene)
    changes: tuple[Change, ...] = (change,) if change else ()
    if acts.HARMED.search(ask.words):
        text += " " + scene.say("handover.holding")
        changes = (*changes, HandOver("strong_cleaner_mark", note="a mark after a cleaner"))
    return Piece(tidy(text), tidy(text), "used_something", verdict, changes, judgement.evidence, {"substance": [row.id]})


def _report_text(
    verdict: str, change: LogCare | None, before: str, after: str, words: dict[str, str], scene: Scene
) -> str:
    strip = change is not None and change.kind is CareKind.STRIP
    words["why"] = scene.say("report.why.strip" if strip else f"report.why.{verdict}")
    if verdict == "careful":
        return scene.say("report.careful", **words)
    if before and after and before != after:
        return scene.say("report.no", **(words | {"old_due": before, "new_due": after}))
    return scene.say("report.no_same", **words)


def _debit(
    row: Substance, judgement: substances.Judgement, ask: Ask, scene: Scene, vessel: Vessel | None
) -> LogCare | None:
    """What the report costs the coating (facts: AVOID-class 60 days, ASK or DILUTE 15, strips by area)."""
    surfaces = [scene.knowledge.surfaces[id] for id in ask.ids("surface") if id in scene.knowledge.surfaces]
    if vessel is None or judgement.verdict == "yes" or (surfaces and not any(one.coated for one in surfaces)):
        return None
    coating = scene.coating_of(vessel)
    level = row.effect(coating.id).level if coating else None
    if level is None or level == 0:
        return None
    kind = CareKind.MILD_WASH
    if row.verdict == "avoid" or level == 3:
        strips = row.cls in STRIPPING or (row.cls in ACID_CLASSES and row.verdict == "ask")
        kind = CareKind.STRIP if strips else CareKind.HARSH_WASH
    default = "spot" if ask.ids("soil") else "side" if surfaces else "whole_boat"
    share = AREA_SHARE[ask.area or default]
    return LogCare(vessel.id, kind, scene.today, share, row.id)


def _before_after(change: LogCare | None, scene: Scene, vessel: Vessel | None) -> tuple[str, str]:
    life = scene.life_of(vessel)
    if change is None or life is None or vessel is None:
        return "", ""
    event = CareEvent(0, vessel.id, change.kind, change.on, change.area, change.substance)
    situation = scene.situation
    later = coatings.lives(
        [vessel], [life.application], [*situation.events, event], scene.knowledge, scene.today,
        situation.business.life, situation.business.sun_station,
    )[0]  # fmt: skip
    return scene.day(life.due_on), scene.day(max(later.due_on, scene.today))


def unknown_product(ask: Ask, scene: Scene, vessel: Vessel | None) -> Piece:
    """A product we don't know by name: ask for its label, never guess."""
    text = scene.say("label.ask", **values_for(scene, vessel, ask))
    question = AskClient("label", {"surface": list(ask.ids("surface")), "report": ask.report}, soon(scene.now, 24))
    verdict = "careful" if ask.permission or ask.topic == "unknown_product" else None
    return Piece(text, text, "unknown_product", verdict, (question,), "unknown product")


def label_read(ask: Ask, scene: Scene, vessel: Vessel | None) -> Piece:
    """A typed label, judged by its ingredients, CAS numbers, pH and signal word: the strictest reading wins."""
    label = read_label(ask.words, scene.knowledge)
    rows = [scene.knowledge.substances[id] for id in (*ask.ids("substance"), *label.substances)]
    if label.ph is not None and not LABEL_LIMITS[0] <= label.ph <= LABEL_LIMITS[1]:
        return _label_piece(label, "no", None, scene)
    if rows:
        judged = [(row, _judge(row, ask, scene, vessel)) for row in rows]
        row, judgement = min(judged, key=lambda p: ({"no": 0, "careful": 1, "yes": 2}[p[1].verdict], -(p[1].level or 0)))
        return _label_piece(label, judgement.verdict, row, scene)
    if label.signal in {"danger", "corrosive", "corrosion", "peligro", "corrosivo"}:
        return _label_piece(label, "danger", None, scene)
    if label.ph is not None:
        neutral = NEUTRAL[0] <= label.ph <= NEUTRAL[1]
        return _label_piece(label, "yes" if neutral else "careful", None, scene)
    return unknown_product(ask, scene, vessel)


def _label_piece(label: Label, verdict: str, row: Substance | None, scene: Scene) -> Piece:
    language = scene.language
    count = f"{label.ph:g}" if label.ph is not None else ""
    if label.ph is not None and not LABEL_LIMITS[0] <= label.ph <= LABEL_LIMITS[1]:
        why = scene.say("label.no_ph_low" if label.ph < LABEL_LIMITS[0] else "label.no_ph_high", count=count)
    else:
        why = (row.why.get(language) or row.why["en"]) if row else ""
    named = (row.name.get(language) or row.name["en"]) if row else scene.say("label.ph_neutral", count=count) if (
        verdict == "yes") else f"pH {count}"
    neutral = scene.knowledge.substances.get("neutral_boat_soap")
    source = row if row and row.verdict != "fine" else neutral
    instead = (source.instead.get(language) or source.instead["en"]) if source else ""
    text = scene.say(f"label.{verdict}", substance=named, why=why, instead=instead)
    found = "no" if verdict == "danger" else verdict
    return Piece(tidy(text), tidy(text), "label_read", found, why=f"label: {label}")


def ask_which(ask: Ask, scene: Scene) -> Piece | None:
    """A word that means several things ('soda', 'spirits'): ask which one."""
    unclear = [term for term in ask.spotted if term.kind == "unclear" and not term.negated]
    if not unclear or ask.ids("substance"):
        return None
    ids = [id.strip() for id in unclear[0].id.replace(",", ";").replace("|", ";").split(";") if id.strip()]
    names = [scene.named("substances", id) for id in ids if id in scene.knowledge.substances]
    if len(names) < 2:
        return None
    link = "o" if scene.language == "es" else "or"
    choice = f"{', '.join(names[:-1])} {link} {names[-1]}"
    text = scene.say("unclear.word", choice=choice)
    data = {"ids": ids, "words": ask.words, "surface": list(ask.ids("surface")), "soil": list(ask.ids("soil"))}
    question = AskClient("which_substance", data, soon(scene.now, 24))
    verdict = "careful" if ask.permission else None
    return Piece(text, text, "may_use", verdict, (question,), f"{unclear[0].words!r} may be: {', '.join(ids)}")
