"""Questions on the client's own records: when is my reseal, what was put on, how is it kept, what is my hull number."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, timedelta

from assistant.domain import hull_numbers
from assistant.domain.coatings import Life, Stage
from assistant.domain.conversation.decision import Change, HandOver, LogCare, NoteVessel
from assistant.domain.conversation.scene import Piece, Scene
from assistant.domain.conversation.values import tidy, values_for
from assistant.domain.people import CareKind, Kept, Vessel
from assistant.domain.understanding.reading import Ask
from assistant.domain.wording import join_words

Handler = Callable[[Ask, Scene, Vessel | None], Piece]


def _nothing_on_file(scene: Scene, vessel: Vessel | None, topic: str) -> Piece:
    """No record to answer from: a person looks, nobody guesses."""
    id = "record.none" if vessel else "record.no_client"
    text = scene.say(id, vessel=scene.name_of(vessel))
    return Piece(text, text, topic, changes=(HandOver(topic, note="no record on file"),), why="no record on file")


def explain(life: Life, scene: Scene, vessel: Vessel) -> str:
    """Why the estimate is what it is, in one sentence."""
    coating = scene.knowledge.coatings[life.application.coating]
    values = {"coating": scene.named("coatings", coating.id), "days": f"{coating.capacity_days:g}", "substance": ""}
    reasons = dict(part.split(":", 1) for part in life.why)
    if "inspection" in reasons:
        main = "why.inspection"
    elif "cap" in reasons and not vessel.laid_up:
        main = "why.cap"
    elif vessel.laid_up:
        main = "why.laid_up"
    else:
        main = f"why.kept.{vessel.kept_on(life.application.applied_on).value}"
    parts = [scene.say(main, **values)]
    if "toppers" in reasons:
        parts.append(scene.say("why.toppers", **values))
    if "debit" in reasons:
        substance = reasons["debit"].split(":")[0]
        parts.append(scene.say("why.debit", **(values | {"substance": scene.named("substances", substance)})))
    return join_words(parts[:2], scene.language)


def reseal_due(ask: Ask, scene: Scene, vessel: Vessel | None) -> Piece:
    """The date, as a range and always about, with the reason in one sentence."""
    pieces = [_reseal_of(one, scene) for one in _vessels(scene, vessel)]
    found = [piece for piece in pieces if piece]
    if not found:
        return _nothing_on_file(scene, vessel, "reseal_due")
    text = " ".join(piece.text for piece in found)
    short = " ".join(piece.short for piece in found)
    return Piece(text, short, "reseal_due", why="; ".join(piece.why for piece in found))


def _vessels(scene: Scene, vessel: Vessel | None) -> list[Vessel]:
    return [vessel] if vessel else list(scene.situation.vessels)


def _reseal_of(vessel: Vessel, scene: Scene) -> Piece | None:
    life = scene.life_of(vessel)
    if life is None:
        return None
    values = values_for(scene, vessel) | {"why": explain(life, scene, vessel)}
    id = "record.reseal_layup" if life.at_layup else "record.reseal_due" if life.stage is Stage.DUE else "record.reseal"
    short = f"{scene.name_of(vessel)}: {scene.day(life.due_on)}."
    return Piece(tidy(scene.say(id, **values)), short, why=f"life model: {', '.join(life.why)}")


def life_left(ask: Ask, scene: Scene, vessel: Vessel | None) -> Piece:
    """How much is used and what is left."""
    texts = []
    for one in _vessels(scene, vessel):
        life = scene.life_of(one)
        if life:
            values = values_for(scene, one) | {"why": explain(life, scene, one)}
            texts.append(tidy(scene.say("record.reseal_due" if life.stage is Stage.DUE else "record.life", **values)))
    if not texts:
        return _nothing_on_file(scene, vessel, "life_left")
    return Piece(" ".join(texts), texts[0], "life_left", why="life model")


def what_applied(ask: Ask, scene: Scene, vessel: Vessel | None) -> Piece:
    """What was put where and when."""
    texts = []
    for one in _vessels(scene, vessel):
        coats = [a for a in scene.situation.applications if a.vessel_id == one.id]
        if coats:
            texts.append(scene.say("record.applied", vessel=scene.name_of(one), list=_coats(coats, scene)))
    if not texts:
        return _nothing_on_file(scene, vessel, "what_applied")
    return Piece(tidy(" ".join(texts)), tidy(texts[0]), "what_applied", why="applications on file")


def _coats(coats: list, scene: Scene) -> str:  # type: ignore[type-arg]
    """'polymer sealant on the hull and topsides, Jun 9 (about 5 months ago)', newest first, at most three groups."""
    groups: dict[tuple[str, date], list[str]] = {}
    for one in sorted(coats, key=lambda a: a.applied_on, reverse=True):
        groups.setdefault((one.coating, one.applied_on), []).append(scene.named("surfaces", one.surface))
    told = []
    for (coating, on), surfaces in list(groups.items())[:3]:
        told.append(
            scene.say(
                "record.applied_one",
                coating=scene.named("coatings", coating),
                surface=join_words(list(dict.fromkeys(surfaces)), scene.language),
                applied_on=scene.day(on),
                age=scene.span((scene.today - on).days),
            )
        )
    return "; ".join(told)


def last_job(ask: Ask, scene: Scene, vessel: Vessel | None) -> Piece:
    """The newest job on file."""
    chosen = vessel
    coats = [a for a in scene.situation.applications if vessel is None or a.vessel_id == vessel.id]
    if not coats:
        return _nothing_on_file(scene, vessel, "last_job")
    newest = max(coats, key=lambda a: a.applied_on)
    chosen = scene.vessel(newest.vessel_id)
    same_day = [a for a in coats if a.applied_on == newest.applied_on and a.vessel_id == newest.vessel_id]
    text = scene.say(
        "record.last_job", vessel=scene.name_of(chosen), applied_on=scene.day(newest.applied_on),
        age=scene.span((scene.today - newest.applied_on).days), list=_coats(same_day, scene),
    )  # fmt: skip
    return Piece(tidy(text), tidy(text), "last_job", why="newest application on file")


def next_topper(ask: Ask, scene: Scene, vessel: Vessel | None) -> Piece:
    """When the next topper is due; a coat that takes none is asked for by its renewal."""
    lives = [life for one in _vessels(scene, vessel) if (life := scene.life_of(one))]
    if lives and not any(life.next_topper_on for life in lives) and "topper" not in ask.words:
        return reseal_due(ask, scene, vessel)
    texts = []
    for one in _vessels(scene, vessel):
        life = scene.life_of(one)
        if life:
            id = "record.topper" if life.next_topper_on else "record.topper_none"
            due = max(life.next_topper_on, scene.today) if life.next_topper_on else None
            values = values_for(scene, one) | ({"next_topper_on": scene.day(due)} if due else {})
            texts.append(tidy(scene.say(id, **values)))
    if not texts:
        return _nothing_on_file(scene, vessel, "next_topper")
    return Piece(texts[0] if len(texts) == 1 else " ".join(texts), texts[0], "next_topper", why="life model")


def how_kept(ask: Ask, scene: Scene, vessel: Vessel | None) -> Piece:
    """What we have on file on how the boats are kept."""
    vessels = _vessels(scene, vessel)
    if not vessels:
        return _nothing_on_file(scene, vessel, "how_kept")
    told = [scene.say("record.kept_one", vessel=scene.name_of(one), what=_kept(one, scene)) for one in vessels]
    text = scene.say("record.kept", list="; ".join(told))
    return Piece(tidy(text), tidy(text), "how_kept", why="vessel record")


def _kept(vessel: Vessel, scene: Scene) -> str:
    details = [f"{vessel.length_ft.normalize():f} ft"] if vessel.length_ft else []
    details += [vessel.boat_type.replace("_", " ")] if vessel.boat_type else []
    details += [vessel.place] if vessel.place else []
    kept = scene.say(f"kept.{vessel.kept.value}")
    if vessel.season and vessel.kept_off_season:
        year = scene.today.year
        (m1, d1), (m2, d2) = vessel.season.begins, vessel.season.ends
        off = Kept(vessel.kept_off_season)
        kept = scene.say(
            "kept.season", what=kept, first=scene.day(date(year, m1, min(d1, 28))),
            second=scene.day(date(year, m2, min(d2, 28)) + timedelta(days=d2 - min(d2, 28))),
            other=scene.say(f"kept.{off.value}"),
        )  # fmt: skip
    return ", ".join([*details, kept])


def hin(ask: Ask, scene: Scene, vessel: Vessel | None) -> Piece:
    """A hull number given or asked for; only its last four characters are ever shown."""
    typed = hull_numbers.find(ask.words)
    name = scene.name_of(vessel)
    if typed and vessel:
        change = NoteVessel(vessel.id, "hin", typed)
        text = scene.say("record.hin_ok", code=typed[-4:], vessel=name)
        return Piece(text, text, "hin", changes=(change,), why="hull number form, 33 CFR 181.25")
    if re.search(r"\d", ask.words) and re.search(r"[a-z0-9-]{9,}", ask.words):
        text = scene.say("record.hin_bad")
        return Piece(text, text, "hin", why="not the form of 33 CFR 181.25")
    if vessel is None:
        return _nothing_on_file(scene, vessel, "hin")
    id = "record.hin_have" if vessel.hin else "record.hin_missing"
    text = scene.say(id, code=vessel.hin[-4:], vessel=name)
    return Piece(text, text, "hin", why="vessel record")


def topper_done(ask: Ask, scene: Scene, vessel: Vessel | None) -> Piece:
    """The client put topper on: logged for the vessel, with the next date."""
    vessels = _vessels(scene, vessel)
    if not vessels:
        return _nothing_on_file(scene, vessel, "topper_done")
    one = vessels[0]
    life, fresh = scene.life_of(one), scene.freshness(one)
    changes: tuple[Change, ...] = (LogCare(one.id, CareKind.TOPPER, scene.today),)
    coating = scene.coating_of(one)
    every = coating.topper_every_days if coating else None
    values = values_for(scene, one)
    values["next_topper_on"] = scene.day(scene.today + timedelta(days=every or 30))
    recent = [e for e in scene.situation.events if e.vessel_id == one.id and e.kind is CareKind.TOPPER]
    early = any((scene.today - event.on).days < 25 for event in recent)
    id = "topper.logged_early" if early else "topper.logged"
    if fresh and coating and coating.first_topper_day and fresh.hours < 24 * (coating.first_topper_day - 3):
        id = "topper.fresh"
        values["next_topper_on"] = scene.day(scene.today + timedelta(days=every or 30))
    text = tidy(scene.say(id, **values))
    return Piece(text, text, "topper_done", changes=changes, why=f"life: {life.used_percent if life else '-'}% used")


def wash_done(ask: Ask, scene: Scene, vessel: Vessel | None) -> Piece:
    """Washed with neutral soap: a kind word, nothing to record."""
    text = tidy(scene.say("wash.logged", **values_for(scene, vessel)))
    return Piece(text, text, "wash_done", why="neutral soap has no debit")


HANDLERS: dict[str, Handler] = {
    "reseal_due": reseal_due, "life_left": life_left, "what_applied": what_applied, "last_job": last_job,
    "next_topper": next_topper, "how_kept": how_kept, "my_boat_details": how_kept, "hin": hin,
    "topper_done": topper_done, "wash_done": wash_done,
}  # fmt: skip
