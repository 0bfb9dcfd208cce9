"""Every text of the knowledge as SMS carries it: the GSM alphabet in English, three parts at most in any language.

Placeholders are filled with values as long as they get in earnest; the alphabet is that of 3GPP TS 23.038, whose
table `test_sms_tables.py` checks.
"""

from __future__ import annotations

import pytest

from assistant.domain.sms import Encoding, cheap, measure, plain
from assistant.domain.wording import PLACEHOLDERS, fill
from tests.knowledge_texts import client_texts

VALUES = {
    "en": {
        "client": "Maximiliana", "vessel": "Northern Lights II", "coating": "ceramic coating", "surface": "clear vinyl windows",
        "substance": "quaternary disinfectant", "soil": "waterline stain", "applied_on": "Nov 23, 2027",
        "age": "11 months", "used": "100%", "due_on": "Nov 23, 2027", "due_range": "Aug 15, 2027 to Dec 20, 2027",
        "next_topper_on": "Nov 23, 2027", "keep_dry": "24 to 48 hours", "no_soap": "7 to 14 days", "rinse_from": "48 hours",
        "topper_first": "30 days", "topper_every": "once a month", "topper_life": "3 months",
        "reseal_every": "every 6 months", "first_soap_on": "Nov 30, 2027", "dry_until": "Tue Nov 23, 10:30 am",
        "soap": "pH-neutral boat soap", "topper": "SiO2 topper spray", "detailer": "Bernadette",
        "business": "Fernwake Boat Care", "phone": "+1 305 555 0100", "hours": "Mon-Fri 8 am-5 pm, Sat 9 am-1 pm",
        "places": "Pelican Slough, Cutter's Bight and Juniper Point", "services": "wash, topper visit and reseal",
        "emergency": "911", "poison": "Poison Control", "poison_phone": "1-800-222-1222", "spill_phone": "1-800-424-8802",
        "card": "https://texts.example.com/card/0123456789abcdefghijklmn", "visit_on": "Tue Nov 23, 10:30 am",
        "price_wash": "$1,312", "price_reseal": "$1,312", "price_topper": "$1,312", "minimum": "$480",
        "payment": "card or bank transfer, with the invoice", "why": "it eats the soft grain and the caulk",
        "instead": "Try neutral soap first; if it stays, send me a photo.", "list": "hull and topsides, sealant, Nov 23",
        "slots": "1) Mon May 10, 8 am. 2) Tue May 11, 8 am. 3) Wed May 12, 8 am.", "service": "wash and topper",
        "place": "Juniper Point", "when": "Tue Nov 23, 10:30 am", "price": "$1,312", "reason": "it rained",
        "other": "under cover", "count": "10.5", "until": "Tue Nov 23, 10:30 am", "gas": "chloroform and other toxic vapors",
        "vessels": "Sea Thistle or Northern Lights II", "choice": "1, 2 or 3", "title": "How often to wash",
        "first": "how to clean the vinyl seats", "second": "what to do about mildew", "what": "in the water",
        "old_due": "Nov 23, 2027", "new_due": "Sep 23, 2027", "days": "180", "percent": "100", "note": "gate code 4471",
        "answer": "Yes, that one is fine.", "link": "https://texts.example.com/chat/0123456789abcdefghijklmn", "code": "D404",
        "first_soap": "Nov 30, 2027", "names": "Sea Thistle and Northern Lights II",
    },
}  # fmt: skip
VALUES["es"] = {
    **VALUES["en"], "coating": "recubrimiento cerámico", "surface": "las ventanas de vinilo transparente",
    "substance": "desinfectante con amonio", "soil": "la mancha de la línea de agua", "applied_on": "23 nov 2027",
    "due_on": "23 nov 2027", "due_range": "15 ago 2027 a 20 dic 2027", "age": "11 meses", "keep_dry": "24 a 48 horas",
    "no_soap": "7 a 14 días", "rinse_from": "48 horas", "topper_first": "30 días", "topper_every": "una vez al mes",
    "first_soap_on": "30 nov 2027", "first_soap": "30 nov 2027", "topper_life": "3 meses", "reseal_every": "cada 6 meses", "dry_until": "mar 23 nov, 10:30", "visit_on": "mar 23 nov, 10:30",
    "soap": "jabón náutico de pH neutro", "topper": "spray protector de SiO2", "hours": "lun-vie 8:00-17:00, sáb 9:00-13:00",
    "poison": "Control de Envenenamientos", "why": "su ácido gasta el sellador",
    "instead": "Prueba primero con jabón neutro; si queda, manda una foto.",
}  # fmt: skip


def test_there_is_a_value_for_every_placeholder():
    assert VALUES["en"].keys() >= PLACEHOLDERS, sorted(PLACEHOLDERS - VALUES["en"].keys())


@pytest.mark.parametrize("language", VALUES)
def test_every_text_travels_in_three_parts(knowledge, language):
    sizes = {place: measure(cheap(plain(fill(text, VALUES[language])))) for place, text in client_texts(knowledge, language)}
    assert len(sizes) > 300
    long = {place: size for place, size in sizes.items() if size.segments > 3}
    assert not long


def test_every_english_text_is_of_the_gsm_alphabet_as_written(knowledge):
    odd = {
        place: sorted({character for character in text if measure(character).encoding is not Encoding.GSM_7})
        for place, text in client_texts(knowledge, "en") if measure(text).encoding is not Encoding.GSM_7
    }  # fmt: skip
    assert not odd


def test_names_said_inside_english_sentences_are_of_the_gsm_alphabet(knowledge):
    said = [
        text for table in (knowledge.substances, knowledge.surfaces, knowledge.soils, knowledge.coatings)
        for row in table.values() for field in ("name", "why", "instead", "wash", "dont")
        for text in [getattr(row, field, {}).get("en", "")]
    ]  # fmt: skip
    assert len(said) > 500
    assert not [text for text in said if measure(text).encoding is not Encoding.GSM_7]
