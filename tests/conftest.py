"""What every test may ask for."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.broker import BINARY, Mosquitto


@pytest.fixture
def mosquitto(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    """A running Mosquitto on a free port of loopback; skips where the program is missing."""
    if BINARY is None:
        pytest.skip("mosquitto is not installed")
    folder: Path = tmp_path_factory.mktemp("mosquitto")
    broker = Mosquitto(folder).start()
    yield broker
    broker.close()
