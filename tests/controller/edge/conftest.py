"""What the tests of the edges may ask for."""

import pytest

from controller.edge.journal import Journal, JournalSettings
from tests.controller.edge.chamber import Chamber
from tests.controller.edge.lines import moment


@pytest.fixture
def chamber(tmp_path, mosquitto):
    made = Chamber(tmp_path / "journal", mosquitto)
    yield made
    made.close()


@pytest.fixture
def begin(tmp_path):
    """Open a journal as a new start of the controller would; every one is closed at the end."""
    opened = []

    def _begin(after_s=0.0, folder=tmp_path, settings=None):
        while opened:
            opened.pop().close(moment(after_s))
        opened.append(Journal.open(folder, settings or JournalSettings(), moment(after_s)))
        return opened[-1]

    yield _begin
    for journal in opened:
        journal.close(moment())
