"""A copy of a store in use is whole and goes back; what is none is refused and changes nothing."""

from __future__ import annotations

import sqlite3
import stat
import threading

import pytest

from controller.errors import DiskError
from dashboard.__main__ import main
from dashboard.facts import Batch
from dashboard.keeping.copying import back_up, restore
from dashboard.keeping.people import People
from dashboard.store import Store
from tests.dashboard.lines import START_UTC_S, tick

NOW = START_UTC_S + 86_400


@pytest.fixture
def path(tmp_path):
    return tmp_path / "store.db"


def filled(path, count: int = 300) -> Store:
    store = Store.open(path)
    store.add_batch(Batch(0, "cellar", "Winter one", START_UTC_S, 1.05, 1.01, 20.0, "kveik"))
    store.add([tick(number) for number in range(1, count + 1)], NOW)
    store.commit()
    return store


def seqs(path) -> list[int]:
    store = Store.open(path)
    try:
        return [each.seq for each in store.ticks("cellar", 0, 1e11)]
    finally:
        store.close()


def test_a_copy_of_a_store_in_use_goes_back_whole(path, tmp_path):
    store = filled(path)
    size = back_up(path, tmp_path / "copy.db")
    assert size == (tmp_path / "copy.db").stat().st_size > 10_000
    assert stat.S_IMODE((tmp_path / "copy.db").stat().st_mode) == 0o600
    store.add([tick(number) for number in range(301, 401)], NOW)
    store.commit()
    store.close()
    aside = restore(tmp_path / "copy.db", path, NOW)
    assert seqs(path) == list(range(1, 301))
    assert aside.name == "store.db.before-20260102T000000Z"
    assert seqs(aside) == list(range(1, 401))


def test_a_copy_taken_while_lines_are_written_is_one_moment(path, tmp_path):
    """Ticks, rollups and what is held are written together, so a copy may not have half of them."""
    store, over = filled(path, 10), threading.Event()

    def write() -> None:
        number = 11
        while not over.is_set():
            store.add([tick(each) for each in range(number, number + 50)], NOW)
            store.commit()
            number += 50

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for number in range(8):
            back_up(path, tmp_path / f"copy{number}.db")
    finally:
        over.set()
        writer.join()
        store.close()
    for number in range(8):
        copy = Store.open(tmp_path / f"copy{number}.db")
        found = [each.seq for each in copy.ticks("cellar", 0, 1e11)]
        assert found == list(range(1, copy.through("cellar", "b1") + 1))
        minutes = copy.stretches("cellar", 0, 10**11, 60, "minutes")
        assert sum(each.ticks for _, each in minutes) == len(found)
        copy.close()


def test_a_running_dashboard_is_not_pulled_from_under(path, tmp_path):
    store = filled(path)
    back_up(path, tmp_path / "copy.db")
    with pytest.raises(DiskError, match="Another dashboard already uses"):
        restore(tmp_path / "copy.db", path, NOW)
    assert len(store.ticks("cellar", 0, 1e11)) == 300
    store.close()


def broken(path) -> None:
    content = bytearray(path.read_bytes())
    content[len(content) // 2 :] = b"\x55" * (len(content) - len(content) // 2)
    path.write_bytes(content)


def strange(path) -> None:
    path.unlink()
    with sqlite3.connect(path) as other:
        other.execute("CREATE TABLE x (y)")
    other.close()


def people(path) -> None:
    path.unlink()
    People(path).close()


def newer(path) -> None:
    with sqlite3.connect(path) as other:
        other.execute("PRAGMA user_version = 9999")
    other.close()


@pytest.mark.parametrize(
    ("spoil", "expected"),
    [
        (broken, "damaged|malformed"),
        (strange, "another program"),
        (people, "another program"),
        (newer, "Install the release that made it"),
        (lambda path: path.write_text("no database at all" * 90), "no database"),
        (lambda path: path.write_bytes(b""), "holds no store"),
        (lambda path: path.unlink(), "There is no file"),
    ],
)
def test_what_is_no_whole_copy_is_refused_and_nothing_is_changed(path, tmp_path, spoil, expected):
    filled(path).close()
    copy = tmp_path / "copy.db"
    back_up(path, copy)
    spoil(copy)
    with pytest.raises(DiskError, match=expected):
        restore(copy, path, NOW)
    assert seqs(path) == list(range(1, 301))
    assert not [each.name for each in tmp_path.iterdir() if "part" in each.name]


def test_a_damaged_store_can_be_replaced_and_stays_for_who_can_mend_it(path, tmp_path):
    filled(path).close()
    back_up(path, tmp_path / "copy.db")
    path.write_bytes(b"\x00" * 9000)
    aside = restore(tmp_path / "copy.db", path, NOW)
    assert seqs(path) == list(range(1, 301)) and aside.read_bytes() == b"\x00" * 9000


def test_a_copy_goes_where_no_store_is_and_overwrites_no_file(path, tmp_path):
    filled(path).close()
    back_up(path, tmp_path / "copy.db")
    with pytest.raises(DiskError, match="exists already"):
        back_up(path, tmp_path / "copy.db")
    assert restore(tmp_path / "copy.db", tmp_path / "new.db", NOW) is None
    assert len(seqs(tmp_path / "new.db")) == 300
    with pytest.raises(DiskError, match="There is no store"):
        back_up(tmp_path / "none.db", tmp_path / "other.db")
    with pytest.raises(DiskError, match="cannot be written"):
        back_up(path, tmp_path / "none" / "copy.db")


def test_the_commands_do_the_same(path, tmp_path, capsys):
    filled(path).close()
    settings = tmp_path / "dashboard.toml"
    settings.write_text(f'[store]\npath = "{path}"\n')
    copy = str(tmp_path / "copy.db")
    assert main(["backup", copy, "--settings", str(settings)]) == 0
    assert "Users and tokens are not in it" in capsys.readouterr().out
    assert main(["restore", copy, "--settings", str(settings)]) == 0
    assert "What stood there before is" in capsys.readouterr().out
    assert main(["backup", copy, "--settings", str(settings)]) == 2
    assert "none is overwritten" in capsys.readouterr().err
