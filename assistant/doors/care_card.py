"""The owner's care card: one page behind an unguessable link, whole without a script, small enough for a poor signal."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

import segno
from flask import Blueprint, abort, jsonify, redirect, render_template, request
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from assistant.assembly import Assistant
from assistant.domain import wording
from assistant.domain.life_picture import as_svg, as_words
from assistant.doors import link_pages
from assistant.doors.card_view import picture_of
from assistant.usecases.show_card import Card, note_topper, show_card

HALF_LETTER = frozenset({"US", "CA", "MX"})
"""Countries whose small sheet is the half letter; elsewhere it is A5."""


def card_routes(assistant: Assistant, now: Callable[[], datetime]) -> Blueprint:
    """`/card/<token>` and what belongs to it; `/look/` has the style, the script and the icons."""
    pages = Blueprint(
        "card", __name__, template_folder="templates", static_folder="static", static_url_path="/look"
    )
    link_pages.protect(pages)

    @pages.get("/card/<token>")
    def card(token: str) -> str:
        """The card itself."""
        return _page("card.html", assistant, _found(assistant, token, now()), token)

    @pages.get("/card/<token>/print")
    def sheet(token: str) -> str:
        """One small sheet to hang up in the cabin, with the link as a QR code."""
        found = _found(assistant, token, now())
        address = f"{assistant.settings.public_url or request.host_url.rstrip('/')}/card/{token}"
        size = "half" if found.client.country in HALF_LETTER else "a5"
        return _page("card_print.html", assistant, found, token, qr=_qr(address), size=size)

    @pages.post("/card/<token>/topper")
    def topper(token: str) -> ResponseReturnValue:
        """Topper was put on today. Sent twice, it counts once."""
        client_id = link_pages.owner(assistant, token)
        boat = request.form.get("boat", "")
        if not boat.isdecimal() or len(boat) > 12 or not note_topper(assistant, client_id, int(boat), now()):
            abort(404)
        language = link_pages.chosen_language()
        return redirect(f"../{token}?done=topper{f'&lang={language}' if language else ''}#boat-{int(boat)}", 303)

    @pages.get("/card/<token>/home.webmanifest")
    def manifest(token: str) -> ResponseReturnValue:
        """Lets the card be put on the home screen."""
        found = _found(assistant, token, now())
        icons = [{"src": f"../../look/mark-{size}.png", "sizes": f"{size}x{size}", "type": "image/png"} for size in (192, 512)]
        response = jsonify(
            name=f"{assistant.business.name}: {', '.join(boat.name for boat in found.boats)}",
            short_name=found.boats[0].name if found.boats else assistant.business.name,
            start_url=f"../{token}",
            scope="../../",
            display="minimal-ui",
            background_color="#eef4f5",
            theme_color="#0b5566",
            icons=icons,
        )
        response.mimetype = "application/manifest+json"
        return response

    return pages


def _found(assistant: Assistant, token: str, now: datetime) -> Card:
    client_id = link_pages.owner(assistant, token)
    found = show_card(assistant, client_id, link_pages.chosen_language(), now)
    if found is None:
        abort(404)
    return found


def _page(template: str, assistant: Assistant, card: Card, token: str, **more: object) -> str:
    """Render a page of this card."""
    language = card.scene.language if card.scene.language in link_pages.LANGUAGES else "en"
    asked = link_pages.chosen_language()
    return render_template(
        template,
        card=card,
        token=token,
        language=language,
        lang=f"?lang={asked}" if asked else "",
        say=link_pages.speaker(assistant, language),
        day=card.scene.day,
        moment=lambda visit: wording.moment_text(visit.begins, visit.zone, language, card.scene.today),
        service=lambda visit: _service(assistant, visit.service, language),
        picture_of=picture_of,
        curve=lambda picture: Markup(as_svg(picture, styled=False)),  # noqa: S704 (its words are escaped there)
        in_words=as_words,
        up=link_pages.up(),
        done=request.args.get("done", ""),
        business=assistant.business,
        **more,
    )


def _service(assistant: Assistant, id: str, language: str) -> str:
    service = assistant.business.services.get(id)
    return service.name.get(language) or service.name.get("en", id) if service else id.replace("_", " ")


def _qr(address: str) -> Markup:
    """The address as an inline drawing: one path, no style, no further request."""
    code = segno.make(address, error="m")
    return Markup(code.svg_inline(border=2, scale=1, omitsize=True, svgclass="qr", lineclass=None))  # noqa: S704
