"""`serve` as a process of its own: it answers signed requests over a real connection and stops in good order."""

from __future__ import annotations

import io
import os
import re
import signal
import subprocess
import sys
import urllib.error
import urllib.parse
import urllib.request
import xml.etree.ElementTree as ET
from concurrent.futures import ThreadPoolExecutor

import pytest

from assistant.doors.command_line import main
from tests.hand_made import ACCOUNT, PUBLIC, TOKEN, inbound_form, signature


@pytest.fixture
def environment(tmp_path, monkeypatch, request):
    """The environment of a server whose home is ready."""
    (tmp_path / "cache").symlink_to(request.config.cache.mkdir("models"))
    monkeypatch.setenv("AFTERCARE_HOME", str(tmp_path))
    monkeypatch.delenv("AFTERCARE_DATABASE_URL", raising=False)
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    assert main(["init"]) == 0
    return {**os.environ, "AFTERCARE_PUBLIC_URL": PUBLIC, "TWILIO_ACCOUNT_SID": ACCOUNT, "TWILIO_AUTH_TOKEN": TOKEN,
            "AFTERCARE_SENDER": "+13055550100", "PYTHONUNBUFFERED": "1"}  # fmt: skip


@pytest.fixture
def server(environment):
    """(process, address) of a server on a free port."""
    command = [sys.executable, "-m", "assistant", "serve", "--port", "0"]
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.STDOUT, "text": True}
    with subprocess.Popen(command, env=environment, **pipes) as process:
        try:
            told = process.stdout.readline()
            address = re.search(r"http://127\.0\.0\.1:\d+", told)
            assert address, told + process.stdout.read()
            yield process, address[0]
        finally:
            process.kill()


def send(address, form, signed=True):
    headers = {"X-Twilio-Signature": signature(form)} if signed else {}
    data = urllib.parse.urlencode(form).encode()
    request = urllib.request.Request(address + "/sms/inbound", data=data, headers=headers)
    with urllib.request.urlopen(request, timeout=15) as response:
        return response.read().decode()


def test_a_server_answers_the_carrier_only_and_stops_when_told(server):
    process, address = server
    with ThreadPoolExecutor(50) as pool:
        form = inbound_form(Body="What soap should I use?")
        answers = set(pool.map(lambda _: send(address, form), range(50)))
    assert len(answers) == 1
    assert [message.text for message in ET.fromstring(answers.pop()).iter("Message")] != []
    with pytest.raises(urllib.error.HTTPError, match="403"):
        send(address, form, signed=False)
    process.send_signal(signal.SIGTERM)
    assert process.wait(timeout=15) == 0
    assert process.stdout.read().endswith("Stopped.\n")


def test_a_port_in_use_is_told_in_one_line(server, environment):
    port = server[1].rpartition(":")[2]
    command = [sys.executable, "-m", "assistant", "serve", "--port", port]
    second = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=60)
    assert second.returncode == 1
    assert "choose another --port" in second.stdout + second.stderr
    assert "Traceback" not in second.stderr
