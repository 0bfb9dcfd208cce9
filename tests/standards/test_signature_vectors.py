"""The published signature vectors, computed and accepted by the carrier's own library, and refused when touched."""

from __future__ import annotations

import pytest
from twilio.request_validator import RequestValidator
from werkzeug.datastructures import MultiDict

TOKEN = "12345"
CALL = {"CallSid": "CA1234567890ABCDE", "Caller": "+14158675310", "Digits": "1234", "From": "+14158675310",
        "To": "+18005551212"}  # fmt: skip
CALL_09 = {**CALL, "Caller": "+14158675309", "From": "+14158675309"}
REPEATED = MultiDict([("Sid", "CA123"), ("SidAccount", "AC123"), ("Digits", "5678"), ("Digits", "1234"),
                      ("Digits", "1234")])  # fmt: skip
TEXT = {"MessageSid": "SM" + "0" * 31 + "1", "From": "+12025550123", "To": "+12025550100", "NumMedia": "0",
        "Body": " leading space é 🚤 "}  # fmt: skip

VECTORS = [
    ("https://example.com/myapp.php?foo=1&bar=2", CALL, "L/OH5YylLD5NRKLltdqwSvS0BnU="),
    ("https://mycompany.com/myapp.php?foo=1&bar=2", CALL_09, "RSOYDt4T1cUTdK1PDd93/VVr8B8="),
    ("https://mycompany.com/myapp.php?foo=1&bar=2", REPEATED, "IK+Dwps556ElfBT0I3Rgjkr1wJU="),
    ("https://sms.example.com/twilio/inbound", TEXT, "RLY0SE3hSfesAi2VmQs+OSzpHGY="),
]


@pytest.mark.parametrize(("url", "form", "signature"), VECTORS)
def test_a_published_vector_is_computed_and_accepted(url, form, signature):
    validator = RequestValidator(TOKEN)
    assert validator.compute_signature(url, form) == signature
    assert validator.validate(url, form, signature)


@pytest.mark.parametrize(("url", "form", "signature"), VECTORS)
def test_a_changed_field_url_token_or_signature_is_refused(url, form, signature):
    validator = RequestValidator(TOKEN)
    assert not validator.validate(url, {**form, "Extra": ""}, signature)
    assert not validator.validate(url.replace("https", "http"), form, signature)
    assert not validator.validate(url, form, signature[:-2] + "x=")
    assert not validator.validate(url, form, "")
    assert not RequestValidator("12346").validate(url, form, signature)


def test_a_port_may_stand_in_the_address_or_not():
    url, form, signature = VECTORS[1]
    assert RequestValidator(TOKEN).validate(url.replace(".com/", ".com:443/"), form, signature)


def test_repeated_fields_must_be_given_whole():
    url, form, signature = VECTORS[2]
    assert not RequestValidator(TOKEN).validate(url, form.to_dict(), signature)
