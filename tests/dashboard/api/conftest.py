"""A house with a batch in it, and a device that may write."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.browser.states import holding
from tests.dashboard.access.house import Browser, House


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    made = House(tmp_path).populate()
    holding(made.scene)
    yield made
    made.close()


@pytest.fixture
def device(house: House) -> Browser:
    found = house.browser()
    found.always = {"authorization": "Bearer token-hydrometer-1"}
    return found
