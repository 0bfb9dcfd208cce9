"""The wheel holds what the program needs outside a checkout: the knowledge, the stories, the pages, the migrations."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow
ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Built by the backend of pyproject.toml in this environment, so that nothing has to be downloaded."""
    folder = tmp_path_factory.mktemp("wheel")
    builder = "import sys, hatchling.build as backend; print(backend.build_wheel(sys.argv[1]))"
    done = subprocess.run(
        [sys.executable, "-c", builder, str(folder)], cwd=ROOT, capture_output=True, text=True, check=False, timeout=120
    )
    assert done.returncode == 0, done.stderr
    (built,) = folder.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory) -> Path:
    """The wheel unpacked, as an installation would: a folder to put on the path, far from the checkout."""
    folder = tmp_path_factory.mktemp("installed")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder)
    return folder


def kept(*folders: str) -> set[str]:
    """Files of the checkout below these folders that git would keep."""
    listed = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard", "--", *folders], cwd=ROOT, capture_output=True, text=True,
        check=True,
    )  # fmt: skip
    return {path for path in listed.stdout.splitlines() if (ROOT / path).exists()}


def test_everything_of_the_program_is_inside_and_nothing_else(wheel):
    with zipfile.ZipFile(wheel) as archive:
        names = {name for name in archive.namelist() if ".dist-info/" not in name}
    data = {f"assistant/_data/{path}" for path in kept("knowledge", "demo_conversations")}
    assert len(data) > 300
    assert names == kept("assistant") | data


def test_the_wheel_installs_the_command_and_says_under_which_licence(wheel):
    with zipfile.ZipFile(wheel) as archive:
        (folder,) = {name.split("/")[0] for name in archive.namelist() if ".dist-info/" in name}
        entry = archive.read(f"{folder}/entry_points.txt").decode()
        metadata = archive.read(f"{folder}/METADATA").decode()
    assert "aftercare = assistant.__main__:main" in entry
    assert "License-Expression: MIT" in metadata
    assert "Requires-Python: >=3.11" in metadata


def run(installed: Path, tmp_path: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    environment = {name: value for name, value in os.environ.items() if not name.startswith(("AFTERCARE_", "TWILIO_"))}
    return subprocess.run(
        [sys.executable, "-P", *arguments], cwd=tmp_path, capture_output=True, text=True, check=False, timeout=60,
        stdin=subprocess.DEVNULL, env={**environment, "PYTHONPATH": str(installed), "HOME": str(tmp_path)},
    )  # fmt: skip


def test_an_installation_finds_its_knowledge_and_stories(installed, tmp_path):
    script = "from assistant.packaged import packaged; print(packaged('knowledge')); print(packaged('demo_conversations'))"
    done = run(installed, tmp_path, "-c", script)
    data = installed / "assistant" / "_data"
    assert done.stdout.split() == [str(data / "knowledge"), str(data / "demo_conversations")], done.stderr


def test_an_installation_plays_a_story(installed, tmp_path):
    done = run(installed, tmp_path, "-m", "assistant", "demo", "no_more_texts")
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.endswith("Everything happened as written.\n")
