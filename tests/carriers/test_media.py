"""Pictures are fetched from the carrier's own address only, signed there and nowhere else, and never without end."""

from __future__ import annotations

import base64

import pytest
import requests
from requests.adapters import BaseAdapter

from assistant.carriers import media
from assistant.carriers.media import MediaLater, MediaRefused, MediaSource

ACCOUNT = "AC" + "1" * 32
URL = f"https://api.twilio.com/2010-04-01/Accounts/{ACCOUNT}/Messages/MM{'a' * 32}/Media/ME{'b' * 32}"
STORE = "https://mms.twiliocdn.com/somewhere"


class Wire(BaseAdapter):
    """Answers by address, and remembers what was asked with which authorization."""

    def __init__(self, **answers):
        super().__init__()
        self.answers = answers
        self.asked = []

    def send(self, request, **_):
        self.asked.append((request.url, request.headers.get("Authorization")))
        status, headers, body = self.answers["first" if len(self.asked) == 1 else "then"]
        response = requests.Response()
        response.status_code, response.url, response.request = status, request.url, request
        response.headers.update(headers)
        response.raw = Raw(body)
        return response

    def close(self):
        pass


class Raw:
    """A body in parts, as the network brings it."""

    def __init__(self, body):
        self._parts = iter(body if isinstance(body, list) else [body])

    def read(self, *_args, **_kwargs):
        return next(self._parts, b"")

    def close(self):
        pass

    release_conn = close


def source(**answers):
    session = requests.Session()
    wire = Wire(**answers)
    session.mount("https://", wire)
    session.mount("http://", wire)
    return MediaSource(ACCOUNT, "secret", session), wire


def test_the_account_is_named_to_the_carrier_and_not_on_a_redirect():
    fetcher, wire = source(first=(307, {"Location": STORE}, b""), then=(200, {}, b"octets"))
    assert fetcher.fetch(URL) == b"octets"
    token = base64.b64encode(f"{ACCOUNT}:secret".encode()).decode()
    assert wire.asked == [(URL, f"Basic {token}"), (STORE, None)]


@pytest.mark.parametrize(
    "url",
    [
        URL.replace("https:", "http:"),
        URL.replace("api.twilio.com", "api.twilio.com.evil.example"),
        URL.replace("api.twilio.com", "evil.example"),
        URL.replace("api.twilio.com", "127.0.0.1"),
        URL.replace("api.twilio.com", "user:pw@api.twilio.com"),
        URL.replace("api.twilio.com", "api.twilio.com:8443"),
        URL.replace("https://api.twilio.com/", "https://evil.example\\@api.twilio.com/"),
        URL.replace("1" * 32, "2" * 32),
        URL + "/../../../../Calls",
        URL.replace("/Media/", "/Media/../Media/"),
        f"https://api.twilio.com/2010-04-01/Accounts/{ACCOUNT}/Messages.json",
        "file:///etc/passwd",
        "https://[::1",
        "",
    ],
)
def test_no_other_address_is_asked(url):
    fetcher, wire = source(first=(200, {}, b"octets"))
    with pytest.raises(MediaRefused):
        fetcher.fetch(url)
    assert wire.asked == []


@pytest.mark.parametrize(
    "to", ["http://mms.twiliocdn.com/x", "https://evil.example/x", "http://169.254.169.254/latest", "//evil.example/x"]
)
def test_a_redirect_elsewhere_is_not_followed(to):
    fetcher, wire = source(first=(302, {"Location": to}, b""), then=(200, {}, b"octets"))
    with pytest.raises(MediaRefused):
        fetcher.fetch(URL)
    assert len(wire.asked) == 1


def test_redirects_come_to_an_end():
    fetcher, wire = source(first=(302, {"Location": STORE}, b""), then=(302, {"Location": STORE}, b""))
    with pytest.raises(MediaRefused):
        fetcher.fetch(URL)
    assert len(wire.asked) == media.REDIRECTS + 1


def test_a_body_without_end_is_left_whatever_length_was_announced(monkeypatch):
    monkeypatch.setattr(media, "LARGEST", 1000)
    fetcher, _ = source(first=(200, {"Content-Length": "3"}, [b"x" * 600] * 50))
    with pytest.raises(MediaRefused):
        fetcher.fetch(URL)


def test_a_body_that_drips_is_left_for_later(monkeypatch):
    monkeypatch.setattr(media, "SECONDS", -1.0)
    fetcher, _ = source(first=(200, {}, b"octets"))
    with pytest.raises(MediaLater):
        fetcher.fetch(URL)


@pytest.mark.parametrize(("status", "error"), [(404, MediaRefused), (401, MediaRefused), (429, MediaLater), (503, MediaLater)])
def test_what_the_carrier_answers_decides_whether_to_try_again(status, error):
    fetcher, _ = source(first=(status, {}, b"octets"))
    with pytest.raises(error):
        fetcher.fetch(URL)


def test_a_lost_connection_is_tried_again_later(monkeypatch):
    fetcher, wire = source(first=(200, {}, b""))
    monkeypatch.setattr(wire, "send", lambda *_a, **_k: (_ for _ in ()).throw(requests.ConnectionError("away")))
    with pytest.raises(MediaLater):
        fetcher.fetch(URL)


def test_without_an_account_nothing_is_fetched():
    with pytest.raises(MediaRefused):
        MediaSource("", "").fetch(URL)
