"""One request by one person: what a page's handler is given, and what it answers with."""

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from urllib.parse import urlencode

from jinja2 import Environment
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from bot.core.staff import Account, Role, Session
from bot.service.signing_in import Passwords
from bot.store import audit
from bot.store.engine import writing
from bot.wiring import App

_LARGEST_ID = 2**31 - 1  # what an integer column holds on every database


@dataclass(frozen=True, slots=True)
class Site:
    """What all requests share. `public_url` is the page's own address when it is on the web."""

    app: App
    pages: Environment
    passwords: Passwords
    new_token: Callable[[], str]
    public_url: str | None = None

    @property
    def secure(self) -> bool:
        """True when the page is reached by https, so that cookies may say so."""
        return bool(self.public_url and self.public_url.startswith("https://"))

    @property
    def cookie(self) -> str:
        """The cookie's name; `__Host-` binds it to this host and to https (RFC 6265bis)."""
        return "__Host-countdown" if self.secure else "countdown"


@dataclass(slots=True)
class Visit:
    """One request. `token` is the browser's secret, signed in or not."""

    site: Site
    request: Request
    now: datetime
    token: str
    session: Session | None = None
    form: FormData = field(default_factory=FormData)

    @property
    def app(self) -> App:
        """The service."""
        return self.site.app

    @property
    def account(self) -> Account:
        """Who is signed in. Only for pages that need a role."""
        if self.session is None:
            raise LookupError("Nobody is signed in: this page's line in the table needs a role.")
        return self.session.account

    @property
    def who(self) -> str:
        """The name under which the logs remember what is done now."""
        return self.account.name

    @property
    def csrf(self) -> str:
        """What every form carries: it follows from the cookie's secret, which no other site has."""
        return hashlib.sha256(f"form {self.token}".encode()).hexdigest()

    def may(self, role: str) -> bool:
        """Whether the person has a role; for leaving out what they could not use."""
        return self.session is not None and Role(role) in self.session.account.roles

    def number(self, name: str) -> int:
        """An id in the path, where the pattern lets only digits through."""
        found = int(self.request.path_params[name])
        if found > _LARGEST_ID:
            raise LookupError(f"No {name} {found}.")
        return found

    def field(self, name: str) -> str:
        """One field of the form or, without one, of the address; trimmed, "" when absent."""
        value = self.form.get(name)
        if value is None:
            value = self.request.query_params.get(name, "")
        return value.strip() if isinstance(value, str) else ""

    def page(self, template: str, status: int = 200, **values: object) -> Response:
        """A page, or a part of one, from a template. It knows `visit` beside the values."""
        text = self.site.pages.get_template(template).render(visit=self, **values)
        return HTMLResponse(text, status)

    def goto(self, path: str, **said: object) -> Response:
        """Send the browser to another page after a form (303), with a word of what was done."""
        query = urlencode({name: str(value) for name, value in said.items() if value != ""})
        joined = "&" if "?" in path else "?"
        return RedirectResponse(f"{path}{joined}{query}" if query else path, 303)

    def saw(self, patient: int | None, what: str, **detail: object) -> None:
        """Write down that a patient's record, or a list of them, was looked at."""
        told: Mapping[str, object] = {"account": self.account.id, **detail}
        with writing(self.app.engine) as connection:
            audit.note(connection, self.who, what, patient, self.now, told)
