"""The linters, run as tests, so that one command checks everything."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
BIN = Path(sys.executable).parent
COMMANDS = {
    "ruff": [BIN / "ruff", "check", "."],
    "ruff format": [BIN / "ruff", "format", "--check", "."],
    "mypy": [BIN / "mypy", "--strict"],
    "import-linter": [BIN / "lint-imports"],
}


@pytest.mark.parametrize("name", COMMANDS)
def test_is_content(name: str) -> None:
    done = subprocess.run(COMMANDS[name], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
