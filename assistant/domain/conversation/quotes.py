"""Prices by text, from the business's own list: for the boats on file or a length that is named."""

from __future__ import annotations

import re
from dataclasses import replace

from assistant.domain import wording
from assistant.domain.business import Service
from assistant.domain.conversation.booking_request import add_ons_named, price_of, vessels_named
from assistant.domain.conversation.booking_texts import price_text, sentences, service_name
from assistant.domain.conversation.scene import Piece, Scene
from assistant.domain.people import Vessel
from assistant.domain.prices import feet_in, quote, whole_feet
from assistant.domain.times.words import normal


def price(topic: str, service_id: str, text: str, scene: Scene, vessel: Vessel | None) -> Piece | None:
    """The price of one kind of work; None where the list or the length does not give one."""
    service = scene.situation.business.services.get(service_id)
    if service is None:
        return None
    named = feet_in(text)
    if named is not None:
        found = quote(scene.situation.business, service, named, add_ons_named(text, service), condition_named(text, scene))
        values = {"vessel": scene.say("price.a_boat"), "count": f"{whole_feet(named)}", "price": price_text(scene, found)}
        return _told(topic, [scene.say("price.one", service=service_name(scene, service), **values)], service, scene)
    ids = vessels_named(text, scene.situation.vessels) or ((vessel.id,) if vessel else tuple(v.id for v in scene.situation.vessels))
    told = [_of_vessel(one, service, text, scene) for one in scene.situation.vessels if one.id in ids and one.length_ft]
    return _told(topic, told, service, scene) if told else None


def _of_vessel(vessel: Vessel, service: Service, text: str, scene: Scene) -> str:
    found = price_of(scene, service, [vessel], add_ons_named(text, service), condition_named(text, scene))
    length = whole_feet(vessel.length_ft) if vessel.length_ft else ""
    return scene.say(
        "price.one", service=service_name(scene, service), vessel=scene.name_of(vessel), count=f"{length}", price=price_text(scene, found)
    )


def _told(topic: str, lines: list[str], service: Service, scene: Scene) -> Piece:
    business = scene.situation.business
    until = scene.day(scene.today.fromordinal(scene.today.toordinal() + business.prices.quote_days))
    text = sentences(*lines, scene.say("price.good_until", until=until), scene.say("price.book"))
    return Piece(text, sentences(lines[0]), topic, why=f"price list: {service.id}")


def condition_named(text: str, scene: Scene) -> str:
    """The condition of the price list that a text tells of ('heavy oxidation' -> heavy); '' where it tells none."""
    plain = normal(text)
    names = scene.situation.business.prices.condition
    return next((name for name in names if re.search(rf"\b{re.escape(name.replace('_', ' ').lower())}\b", plain)), "")


def how_priced(text: str, scene: Scene, vessel: Vessel | None) -> Piece | None:
    """How the price comes about, shown on the client's own boat; None where the list has no price per foot."""
    service = next((one for one in scene.situation.business.services.values() if one.per_foot), None)
    feet = feet_in(text) or (vessel.length_ft if vessel else None)
    if service is None or service.per_foot is None or feet is None:
        return None
    currency = scene.situation.business.prices.currency
    base = replace(service, on_sight=False)
    found = quote(scene.situation.business, base, feet)
    said = sentences(scene.say(
        "price.how", count=f"{whole_feet(feet)}", other=wording.money_text(service.per_foot, currency),
        service=service_name(scene, service), price=wording.money_text(found.total, currency),
        minimum=wording.money_text(service.minimum, currency),
    ))  # fmt: skip
    return Piece(said, said, "quote_length", why=f"price list: {service.id}")
