"""The newest of every chamber for programs that watch numbers, as OpenMetrics 1.0.

Each value comes with its age: a number that no longer moves must not pass for a steady one. Of a
chamber that is silent only the ages and its state are given. Nothing is computed here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from starlette.requests import Request
from starlette.responses import Response

from controller import __version__
from controller.wire import Tick
from dashboard.api.reading import gravity_of
from dashboard.live import LiveHub
from dashboard.sheet.seen import Seen
from dashboard.store import Store
from dashboard.web import look

# Source: OpenMetrics 1.0, section 3.4, and the text format 0.0.4 that came before it.
OPEN_METRICS = "application/openmetrics-text; version=1.0.0; charset=utf-8"
PLAIN_TEXT = "text/plain; version=0.0.4; charset=utf-8"
PREFIX = "barmkeep_"


@dataclass(frozen=True, slots=True)
class Family:
    """One kind of number. `unit` ends its name; a counter's samples end in `_total`."""

    name: str
    meaning: str
    of: Callable[[Tick], float | None]
    unit: str = ""
    kind: str = "gauge"

    @property
    def full_name(self) -> str:
        """With the prefix and the unit, as OpenMetrics has it."""
        return f"{PREFIX}{self.name}{f'_{self.unit}' if self.unit else ''}"


OF_A_TICK: tuple[Family, ...] = (
    Family("beer", "The beer's temperature.", lambda tick: tick.beer_c, "celsius"),
    Family("target", "What the beer should have.", lambda tick: tick.target_c, "celsius"),
    Family("garage", "The garage's temperature.", lambda tick: tick.garage_c, "celsius"),
    Family("air", "The air's temperature in the chamber.", lambda tick: tick.air_c, "celsius"),
    Family("pad", "The heat pad's temperature.", lambda tick: tick.pad_c, "celsius"),
    Family("demand", "From -1, full fan, to 1, full heat.", lambda tick: tick.demand, "ratio"),
    Family("heat_on", "Whether the pad is on.", lambda tick: float(tick.heat)),
    Family("fan_on", "Whether the fan is on.", lambda tick: float(tick.fan)),
    Family("alarms", "Alarms that stand.", lambda tick: float(len(tick.alarms))),
    Family("trips", "Latched trips.", lambda tick: float(len(tick.trips))),
    Family("faults", "Probes that cannot be trusted.", lambda tick: float(len(tick.faults))),
    Family("clock_synced", "Whether its clock is right.", lambda tick: float(tick.synced)),
    Family(
        "heat_starts", "Times the pad was switched on.", lambda tick: tick.heat_starts,
        kind="counter",
    ),
    Family(
        "fan_starts", "Times the fan was switched on.", lambda tick: tick.fan_starts,
        kind="counter",
    ),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Metrics:
    """Answers GET /metrics. `clock` gives UTC seconds; `waiting` counts lines not yet written."""

    store: Store
    hub: LiveHub
    clock: Callable[[], float]

    def answer(self, request: Request) -> Response:
        """In the newer form for who asks for it, else in the older."""
        is_open = "application/openmetrics-text" in request.headers.get("accept", "")
        text = "\n".join(self._lines(is_open)) + "\n"
        return Response(text, headers={"content-type": OPEN_METRICS if is_open else PLAIN_TEXT})

    def _lines(self, is_open: bool) -> Iterator[str]:
        seen = look.every_chamber(self.store, self.hub, self.clock())
        yield from _build(is_open)
        for family in OF_A_TICK:
            rows = [
                (each, value)
                for each in seen
                if each.is_live
                and each.tick is not None
                and (value := family.of(each.tick)) is not None
            ]
            yield from _said(family, is_open, rows)
        yield from self._of_chambers(is_open, seen)
        yield from self._of_batches(is_open, seen)
        waiting = Family("lines_waiting", "Lines heard and not yet on the disk.", lambda _: None)
        yield from _head(waiting, is_open)
        yield f"{waiting.full_name} {self.store.pending()}"
        if is_open:
            yield "# EOF"

    def _of_chambers(self, is_open: bool, seen: tuple[Seen, ...]) -> Iterator[str]:
        live = Family("live", "Whether the controller is heard.", lambda _: None)
        yield from _said(live, is_open, [(each, float(each.is_live)) for each in seen])
        heard = Family("heard_age", "Since it was last heard.", lambda _: None, "seconds")
        rows = [
            (each, each.clock_utc_s - each.heard_utc_s)
            for each in seen
            if each.heard_utc_s is not None
        ]
        yield from _said(heard, is_open, rows)
        age = Family("tick_age", "Since its newest tick, by that tick's clock.", lambda _: None,
                     "seconds")  # fmt: skip
        ages = [(each, each.clock_utc_s - each.tick.utc_s) for each in seen if each.tick]
        yield from _said(age, is_open, ages)

    def _of_batches(self, is_open: bool, seen: tuple[Seen, ...]) -> Iterator[str]:
        """What the newest reading of each batch says, and how old it is."""
        gravity = Family("specific_gravity", "The newest, corrected.", lambda _: None)
        share = Family("expected_drop", "The share that is done.", lambda _: None, "ratio")
        age = Family("gravity_age", "Since the newest reading.", lambda _: None, "seconds")
        found: dict[str, list[tuple[Seen, float]]] = {
            each.name: [] for each in (gravity, share, age)
        }
        for each in seen:
            taken = self.store.gravities(each.batch.id) if each.batch else ()
            said = gravity_of(each.batch, taken[-1]) if each.batch and taken else {}
            if said.get("corrected_sg") is not None:
                found["specific_gravity"].append((each, said["corrected_sg"]))
                found["expected_drop"].append((each, said["share_of_expected_drop"]))
                found["gravity_age"].append((each, each.now_utc_s - said["taken_utc_s"]))
        for family in (gravity, share, age):
            yield from _said(family, is_open, found[family.name])


def _said(family: Family, is_open: bool, rows: list[tuple[Seen, float]]) -> Iterator[str]:
    if not rows:
        return
    yield from _head(family, is_open)
    ending = "_total" if family.kind == "counter" else ""
    for seen, value in rows:
        yield f'{family.full_name}{ending}{{chamber="{seen.chamber}"}} {value:.10g}'


def _head(family: Family, is_open: bool) -> Iterator[str]:
    ending = "_total" if family.kind == "counter" and not is_open else ""
    name = f"{family.full_name}{ending}"
    yield f"# TYPE {name} {family.kind}"
    if family.unit and is_open:
        yield f"# UNIT {name} {family.unit}"
    yield f"# HELP {name} {family.meaning}"


def _build(is_open: bool) -> Iterator[str]:
    name = f"{PREFIX}build" if is_open else f"{PREFIX}build_info"
    yield f"# TYPE {name} {'info' if is_open else 'gauge'}"
    yield f"# HELP {name} The dashboard that answers."
    yield f'{PREFIX}build_info{{version="{__version__}"}} 1'
