"""Three days of the soak in every run; three hundred by `python -m tests.bench.soak`."""

from __future__ import annotations

from pathlib import Path

from tests.bench import soak


def test_a_soak_keeps_its_files_and_memory(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr(soak, "LIFE_DAYS", 0.2)
    monkeypatch.setattr(soak, "SAMPLE_TICKS", 360)
    watch = soak.soak(1.0, tmp_path)
    assert len(watch.samples) >= 20
    assert soak.growth(watch.samples, "open_files") == 0.0
    assert soak.growth(watch.samples, "resident_mb") < 20.0
