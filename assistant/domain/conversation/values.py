"""Values for the placeholders of an answer, and which of its variants applies to this client today."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from assistant.domain import prices, wording
from assistant.domain.coatings import Stage
from assistant.domain.conversation.scene import Scene
from assistant.domain.knowledge import Answer, Coating
from assistant.domain.people import Vessel
from assistant.domain.understanding.reading import Ask
from assistant.domain.visits import VisitState


def values_for(scene: Scene, vessel: Vessel | None, ask: Ask | None = None) -> dict[str, str]:
    """Every placeholder that answers may use, filled for this vessel."""
    life, coating = scene.life_of(vessel), scene.coating_of(vessel) or scene.knowledge.coatings["sealant"]
    filled = {
        **scene.business_values,
        **_waits(scene, vessel, coating),
        **_prices(scene, vessel),
        "vessel": scene.name_of(vessel),
        "coating": scene.named("coatings", coating.id),
        "surface": _surface(scene, ask),
        "substance": _first(scene, ask, "substance", "substances"),
        "soil": _first(scene, ask, "soil", "soils"),
        "visit_on": _next_visit(scene),
        "hours": _hours(scene),
        "applied_on": "", "age": "", "used": "", "due_on": "", "due_range": "", "next_topper_on": "",
    }  # fmt: skip
    if life:
        filled |= {
            "applied_on": scene.day(life.application.applied_on),
            "age": scene.span((scene.today - life.application.applied_on).days),
            "used": f"{life.used_percent}%",
            "due_on": scene.day(life.due_on),
            "due_range": scene.say("range", first=scene.day(life.due_from), second=scene.day(life.due_to)),
            "next_topper_on": scene.day(life.next_topper_on) if life.next_topper_on else "",
        }
    return filled


def _surface(scene: Scene, ask: Ask | None) -> str:
    ids = ask.ids("surface") if ask else ()
    return scene.named("surfaces", ids[0] if ids else "hull")


def _first(scene: Scene, ask: Ask | None, kind: str, table: str) -> str:
    ids = ask.ids(kind) if ask else ()
    return scene.named(table, ids[0]) if ids else ""


def _waits(scene: Scene, vessel: Vessel | None, coating: Coating) -> dict[str, str]:
    spanish = scene.language == "es"
    hours, days = (("hora", "horas"), ("día", "días")) if spanish else (("hour", "hours"), ("day", "days"))
    fresh = scene.freshness(vessel)
    finished = scene.now - timedelta(hours=fresh.hours) if fresh else scene.now
    soap_from = (finished + timedelta(days=coating.no_soap_days[1])).astimezone(ZoneInfo(scene.zone)).date()
    dry_until = finished + timedelta(hours=coating.keep_dry_hours[1])
    reseal = "laid_up" if vessel is not None and vessel.laid_up else "year_round"
    return {
        "keep_dry": _range_text(coating.keep_dry_hours, hours, spanish),
        "no_soap": _range_text(coating.no_soap_days, days, spanish),
        "rinse_from": _range_text((coating.plain_rinse_after_hours,) * 2, hours, spanish),
        "topper_first": _range_text((coating.first_topper_day or 30,) * 2, days, spanish),
        "topper_every": "una vez al mes" if spanish else "once a month",
        "topper_life": "3 meses" if spanish else "3 months",
        "reseal_every": scene.knowledge.say(f"reseal_every.{reseal}", scene.language),
        "first_soap_on": scene.day(soap_from),
        "dry_until": wording.moment_text(dry_until, scene.zone, scene.language, scene.today),
    }


def _range_text(pair: tuple[int, int], unit: tuple[str, str], spanish: bool) -> str:
    """'7 days', '12 to 24 hours', '1 day'."""
    low, high = pair
    number = str(high) if low == high else f"{low} {'a' if spanish else 'to'} {high}"
    return f"{number} {unit[high != 1]}"


def _prices(scene: Scene, vessel: Vessel | None) -> dict[str, str]:
    business = scene.situation.business
    out = {"minimum": ""}
    for id in ("wash", "reseal", "topper"):
        service = business.services.get(id)
        text = ""
        if service and vessel is not None and vessel.length_ft:
            text = wording.money_text(prices.quote(business, service, vessel.length_ft).total, business.prices.currency)
        elif service and service.per_foot is not None:
            text = scene.say(
                "price.rate",
                price=wording.money_text(service.per_foot, business.prices.currency),
                minimum=wording.money_text(service.minimum, business.prices.currency),
            )
        out[f"price_{id}"] = text
        if service and not out["minimum"]:
            out["minimum"] = wording.money_text(service.minimum, business.prices.currency)
    return out


def _next_visit(scene: Scene) -> str:
    ahead = [one for one in scene.situation.visits if one.state is VisitState.BOOKED and one.ends > scene.now]
    return wording.moment_text(ahead[0].begins, ahead[0].zone, scene.language, scene.today) if ahead else ""


def _hours(scene: Scene) -> str:
    """Working hours, equal neighbors folded: 'Mon-Fri 8 am-5 pm, Sat 9 am-1 pm'."""
    hours, parts, day = scene.situation.business.hours, [], 0
    monday = scene.today - timedelta(days=scene.today.weekday())
    while day < 7:
        last = day
        while last + 1 < 7 and hours.get(last + 1) == hours.get(day):
            last += 1
        if day in hours:
            names = [wording.weekday_text(monday + timedelta(days=n), scene.language)[:3] for n in (day, last)]
            times = [
                wording.time_text(datetime.combine(monday, t, ZoneInfo(scene.zone)), scene.zone, scene.language)
                for t in hours[day]
            ]
            parts.append(f"{'-'.join(dict.fromkeys(names))} {'-'.join(times)}")
        day = last + 1
    return ", ".join(parts)


def conditions_for(scene: Scene, vessel: Vessel | None, ask: Ask | None) -> set[str]:
    """Which variant conditions hold for this vessel today."""
    holds: set[str] = set()
    fresh, life = scene.freshness(vessel), scene.life_of(vessel)
    if not scene.situation.vessels:
        holds.add("no_record")
    if fresh:
        holds |= {"in_keep_dry"} if fresh.keep_dry else set()
        holds |= {"in_no_soap"} if fresh.no_soap else set()
        holds |= {"before_topper"} if fresh.hours < 24 * (fresh.coating.first_topper_day or 0) else set()
    if life:
        holds |= {f"coating_{life.application.coating}"}
        holds |= {life.stage.value} if life.stage is not Stage.FINE else set()
        holds |= {"at_layup"} if life.at_layup else set()
    if vessel is not None:
        holds |= {f"kept_{vessel.kept_on(scene.today).value}", "laid_up" if vessel.laid_up else "year_round"}
    if _next_visit(scene):
        holds.add("has_visit")
    for id in ask.ids("surface") if ask else ():
        holds |= {f"on_{id}", f"on_{scene.knowledge.base_surface(id)}"}
    return holds


def answer_text(answer: Answer, scene: Scene, vessel: Vessel | None, ask: Ask | None) -> str:
    """The first variant that applies, else the main text, filled."""
    holds = conditions_for(scene, vessel, ask)
    text = next((text for condition, text in answer.variants if condition in holds), answer.text)
    return tidy(wording.fill(text, values_for(scene, vessel, ask)))


def short_text(answer: Answer, scene: Scene, vessel: Vessel | None, ask: Ask | None) -> str:
    """The one-sentence form, for texts that ask several things."""
    return tidy(wording.fill(answer.short, values_for(scene, vessel, ask)))


def tidy(text: str) -> str:
    """No double blanks, no blank before punctuation, a capital at the beginning."""
    text = " ".join(text.split()).replace(" ,", ",").replace(" .", ".").replace("..", ".")
    return text[:1].upper() + text[1:]
