"""The sign-in page, and the ways in and out.

A wrong name and a wrong password are answered alike. Where to go afterwards is taken from the
address, but only within this dashboard.
"""

from __future__ import annotations

from dataclasses import dataclass

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from controller.errors import BarmkeepError
from dashboard.access.entry import AGE_S_MAX, Access, SignInError
from dashboard.access.gate import COOKIE_SECURE, cookie_name
from dashboard.access.roles import How, Role, visitor
from dashboard.access.ways import FIELDS_MAX, SIGN_IN, Way
from dashboard.web.pages import Pages

NEXT_CHARACTERS_MAX = 500  # Why: our longest address is under 200 characters.


@dataclass(frozen=True, slots=True)
class SignIn:
    """The endpoints."""

    access: Access
    pages: Pages

    def ways(self) -> tuple[Way, ...]:
        """The rows of the table of routes."""
        return (
            Way("GET", SIGN_IN, Role.ANYBODY, self.page),
            Way("POST", SIGN_IN, Role.ANYBODY, self.enter),
            Way("POST", "/sign-out", Role.LOOKER, self.leave),
        )

    def page(self, request: Request) -> Response:
        """GET /sign-in"""
        return self._page(request, request.query_params.get("next", "/"))

    async def enter(self, request: Request) -> Response:
        """POST /sign-in"""
        form = await request.form(max_files=0, max_fields=FIELDS_MAX)
        name, password, after = (str(form.get(each, "")) for each in ("name", "password", "next"))
        address = request.client.host if request.client else ""
        old = visitor().session
        try:
            cookie = await run_in_threadpool(self.access.sign_in, name, password, address, old)
        except BarmkeepError as error:
            return self._refused(request, error, (name, after))
        answer = RedirectResponse(within(after), 303)
        scheme = request.scope["scheme"]
        answer.set_cookie(
            cookie_name(scheme),
            cookie,
            max_age=int(AGE_S_MAX),
            secure=cookie_name(scheme) == COOKIE_SECURE,
            httponly=True,
            samesite="lax",  # A link in an alarm's mail must lead to the page, not to sign-in.
        )
        return answer

    def leave(self, request: Request) -> Response:
        """POST /sign-out"""
        self.access.sign_out(visitor())
        answer = RedirectResponse(SIGN_IN, 303)
        scheme = request.scope["scheme"]
        answer.delete_cookie(
            cookie_name(scheme), secure=cookie_name(scheme) == COOKIE_SECURE, httponly=True
        )
        return answer

    def _refused(self, request: Request, error: BarmkeepError, typed: tuple[str, str]) -> Response:
        wait_s = error.wait_s if isinstance(error, SignInError) else 1.0
        status = 429 if wait_s > 0 else 401
        name, after = typed
        answer = self._page(request, after, status, name=name[:64], trouble=str(error))
        if wait_s > 0:
            answer.headers["retry-after"] = str(int(wait_s) + 1)
        return answer

    def _page(
        self, request: Request, after: str, status: int = 200, *, name: str = "", trouble: str = ""
    ) -> Response:
        answer = self.pages.read_by(request).page(
            "sign_in.html",
            status,
            name=name,
            trouble=trouble,
            after=within(after),
            is_in=visitor().how is not How.NOBODY,
        )
        answer.headers["cache-control"] = "no-store"
        return answer


def within(address: str) -> str:
    """The address when it is a path of this dashboard, else its first page.

    A browser takes two slashes, or a slash and a backslash, for another host.
    """
    is_ours = (
        address.startswith("/")
        and not address.startswith(("//", "/\\"))
        and address.isprintable()
        and address.isascii()
        and "\\" not in address
        and len(address) <= NEXT_CHARACTERS_MAX
    )
    return address if is_ours and not address.startswith(SIGN_IN) else "/"
