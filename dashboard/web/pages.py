"""The pages: look a chamber up, say what it means, fill in a template.

Each function here is one route's and is run in a thread of its own, because the store is read from
the disk. It refuses an unknown chamber with a page that says so; what was typed into a form comes
back with the messages beside the fields (status 422), and an accepted form answers with a redirect,
so that loading the page again sends nothing twice.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from controller.errors import BarmkeepError
from controller.wire import Order
from dashboard.access.roles import visitor
from dashboard.errors import EntryError
from dashboard.facts import Batch, By, Note
from dashboard.fermentation.strains import strain
from dashboard.foresight import Foresight
from dashboard.live import LiveHub
from dashboard.sheet import accounted, entries, readings, words
from dashboard.sheet.asked import LINES_MAX, Asking, asking
from dashboard.sheet.forms import Filled
from dashboard.sheet.seen import Seen
from dashboard.sheet.sentences import first_sentence, headline
from dashboard.sheet.troubles import Trouble, troubles
from dashboard.sheet.units import Units, text_of, units_of_text
from dashboard.store import Store
from dashboard.web import ahead, look
from dashboard.web.ahead import Ahead
from dashboard.web.curve import Shown, shown
from dashboard.web.ordering import Ordering
from dashboard.web.reader import units_for
from dashboard.web.render import Render
from dashboard.web.stream import Fresh
from dashboard.web.written import Written, written

EMPTY: Filled[Any] = Filled({})
TOLD_SHOWN = 4  # Why: what cost most; its own page tells the rest.
EVENTS_SHOWN = 20  # Why: the last days of a chamber; the rest is history.


@dataclass(frozen=True, slots=True)
class Forms:
    """The forms of a chamber's page, as they came back."""

    gravity: Filled[Any] = EMPTY
    note: Filled[Any] = EMPTY
    hold: Filled[Any] = EMPTY
    plan: Filled[Any] = EMPTY


@dataclass(frozen=True, slots=True)
class Sheet:
    """What stands at the top of a chamber's page."""

    seen: Seen
    sentence: str
    headline: str
    troubles: tuple[Trouble, ...]
    ahead: Ahead = Ahead()


@dataclass(frozen=True, slots=True)
class Pages:
    """Everything a page is made from, for one reader. `clock` gives UTC seconds."""

    store: Store
    hub: LiveHub
    foresight: Foresight
    render: Render
    clock: Callable[[], float]
    calibrated_c: float
    units: Units = Units()
    trouble: Callable[[], str | None] = lambda: None
    say: Callable[[Order], bool] = lambda _: False

    @property
    def orders(self) -> Ordering:
        """Gives orders to chambers."""
        return Ordering(self.store, self.say, self.clock)

    def read_by(self, request: Request, made_in: str | None = None) -> Pages:
        """The same for the reader of this request.

        `made_in` is what a form says of the units it was made in, so that a choice changed
        meanwhile in another window misreads nothing.
        """
        return replace(self, units=units_of_text(made_in, units_for(request, self.units)))

    # Every chamber.

    def chambers(self, request: Request) -> Response:
        """GET /"""
        return self.page("chambers.html", **self._every())

    def chambers_fresh(self, request: Request) -> Fresh:
        """What the stream of the first page sends."""
        found = self._every()
        title = f"{'▲ ' if found['troubled'] else ''}Chambers · barmkeep"
        return Fresh("all", title, self._text("chambers_now.html", **found))

    def _every(self) -> dict[str, Any]:
        found = look.every_chamber(self.store, self.hub, self.clock())
        sheets = [self._sheet(each) for each in found]
        views = [each.ahead.view for each in sheets if each.ahead.view is not None]
        nows = [self.now(each.seen) for each in sheets if each.ahead.view is not None]
        lines = ahead.of_all(views, max(nows, default=self.clock()), self.units)
        where = {each.seen.batch.id: each.seen.chamber for each in sheets if each.seen.batch}
        troubled = any(each.troubles for each in sheets)
        return {"sheets": sheets, "troubled": troubled, "lines": lines, "where": where}

    # One chamber.

    def chamber(self, request: Request) -> Response:
        """GET /chambers/{name}, or with `part=curve` only its curve."""
        sheet = self._sheet(self.look_up(request))
        curve = self._curve(sheet, request.query_params)
        if request.query_params.get("part") == "curve":
            return self.page("curve_part.html", sheet=sheet, curve=curve)
        return self._chamber_page(sheet, curve)

    def chamber_fresh(self, request: Request) -> Fresh:
        """What the stream of a chamber sends."""
        sheet = self._sheet(self.look_up(request))
        tick = sheet.seen.tick
        mark = "▲ " if sheet.troubles else ""
        return Fresh(
            f"{tick.boot}:{tick.seq}" if tick else "none",
            f"{mark}{sheet.headline} {sheet.seen.chamber} · barmkeep",
            self._text("fresh.html", sheet=sheet, asking=self._asking(sheet)),
        )

    def chamber_again(
        self,
        seen: Seen,
        note_form: Filled[Note] = EMPTY,
        hold_form: Filled[Any] = EMPTY,
        plan_form: Filled[Any] = EMPTY,
    ) -> Response:
        """The chamber's page with a form that cannot be kept yet, or an order not given."""
        forms = Forms(note=note_form, hold=hold_form, plan=plan_form)
        sheet = self._sheet(seen)
        return self._chamber_page(sheet, self._curve(sheet, {}), forms, 422)

    def _curve(self, sheet: Sheet, query: Mapping[str, str]) -> Shown:
        return shown(self.store, sheet.seen, query, self.units, sheet.ahead.view)

    def _chamber_page(
        self,
        sheet: Sheet,
        curve: Shown,
        forms: Forms = Forms(),
        status: int = 200,
    ) -> Response:
        seen, batch = sheet.seen, sheet.seen.batch
        table = readings.rows(batch, self.store.gravities(batch.id), self.units) if batch else ()
        beer_c = seen.tick.beer_c if seen.is_live and seen.tick else None
        return self.page(
            "chamber.html",
            status,
            sheet=sheet,
            curve=curve,
            rows=table,
            next=readings.what_next(batch, table, self.units) if batch else "",
            asking=self._asking(sheet),
            gravity_form=forms.gravity,
            note_form=forms.note,
            hold_form=forms.hold,
            plan_form=forms.plan,
            written=self._written(seen),
            beer_now="" if beer_c is None else words.typed(self.units.degrees(beer_c)),
            calibrated=words.typed(self.units.degrees(self.calibrated_c)),
            strain_name=_strain_name(batch) if batch else "",
            told=self._told(seen),
            events=look.shown_events(self.store, seen, EVENTS_SHOWN),
            form_now=words.form_time(self.now(seen), self.units.zone),
        )

    def _asking(self, sheet: Sheet) -> Asking:
        given = self.store.orders(sheet.seen.chamber, LINES_MAX)
        return asking(sheet.seen, given, sheet.troubles, self.units)

    def _told(self, seen: Seen) -> tuple[str, ...]:
        """How long the batch took, and why, in its first few sentences."""
        if seen.batch is None:
            return ()
        account = self.foresight.account(seen.batch, self.now(seen))
        return accounted.told(account, seen.batch, self.units)[:TOLD_SHOWN]

    def _written(self, seen: Seen) -> Written:
        if seen.batch is None:
            return Written()
        return written(self.store, seen.batch.id, self.clock(), self.now(seen), self.units)

    def write_gravity(self, request: Request, typed: Mapping[str, str]) -> Response:
        """POST /chambers/{name}/gravity"""
        sheet = self._sheet(self.look_up(request))
        batch = sheet.seen.batch
        if batch is None or typed.get("batch") != str(batch.id):
            raise HTTPException(409, "The batch changed while you typed.")
        taken = self.store.gravities(batch.id)
        filled = entries.gravity_entry(typed, batch, taken, self.now(sheet.seen), self.units)
        if filled.value is None:
            curve = self._curve(sheet, {})
            return self._chamber_page(sheet, curve, Forms(gravity=filled), 422)
        self.store.add_gravity(filled.value, self.by())
        self._tell_gravity(sheet.seen, batch)
        return RedirectResponse(f"/chambers/{batch.chamber}#gravity", 303)

    def _tell_gravity(self, seen: Seen, batch: Batch) -> None:
        """Let a procedure begun from here know the newest gravity. What is kept is kept anyway."""
        table = readings.rows(batch, self.store.gravities(batch.id), self.units)
        newest_sg = table[-1].corrected_sg if table else None
        if newest_sg is None or not seen.is_live or seen.tick is None or not seen.tick.begun_by:
            return
        age_s = max(0.0, self.now(seen) - table[-1].reading.taken_utc_s)
        with contextlib.suppress(BarmkeepError):
            self.orders.give(
                batch.chamber,
                "gravity",
                self.by().who,
                {"gravity_sg": round(newest_sg, 4), "age_s": age_s},
                wait_s=0.0,
            )

    def strike_out(self, request: Request, typed: Mapping[str, str]) -> Response:
        """POST /chambers/{name}/gravity/strike: a reading that was mistyped."""
        seen = self.look_up(request)
        taken = self.store.gravities(seen.batch.id) if seen.batch else ()
        for reading in taken:
            if typed.get("reading") == str(reading.id):
                self.store.strike_gravity(reading.id, self.by())
                return RedirectResponse(f"/chambers/{seen.chamber}#gravity", 303)
        raise HTTPException(409, "That reading is not in this batch any more.")

    # What they share.

    def refusal(self, status: int, what: str, remedy: str) -> Response:
        """A page that says what is wrong and what to do."""
        return self.page("message.html", status, what=what, remedy=remedy)

    def look_up(self, request: Request) -> Seen:
        """The chamber an address names."""
        found = look.seen(self.store, self.hub, request.path_params["name"], self.clock())
        if found is None:
            raise HTTPException(404, "No such chamber.")
        return found

    def _sheet(self, seen: Seen) -> Sheet:
        coming = ahead.of_chamber(self.store, self.foresight, seen, self.now(seen), self.units)
        sentence = f"{first_sentence(seen, self.units)} {coming.sentence}".strip()
        named, wrong = headline(seen, self.units), troubles(seen, self.units)
        return Sheet(seen, sentence, named, wrong, coming)

    def by(self) -> By:
        """Who is writing now, and when."""
        return By(visitor().name, self.clock())

    def now(self, seen: Seen) -> float:
        """The chamber's now while it is heard, else the dashboard's. UTC seconds."""
        return seen.now_utc_s if seen.is_live else self.clock()

    def page(self, template: str, status: int = 200, **values: Any) -> Response:
        """A page made from this template."""
        return HTMLResponse(self._text(template, **values), status)

    def _text(self, template: str, **values: Any) -> str:
        zone_name = words.zone_name(self.clock(), self.units.zone)
        return self.render(
            template,
            self.units,
            zone_name=zone_name,
            units_text=text_of(self.units),
            own_trouble=self.trouble(),
            **values,
        )


def _strain_name(batch: Batch) -> str:
    try:
        return strain(batch.strain).name
    except EntryError:
        return batch.strain
