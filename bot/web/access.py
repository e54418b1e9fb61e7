"""One line of the route table: a path, a method, who may use it, and what answers.

Whatever is not in the table does not exist; whoever is not named in a line is refused.
"""

from collections.abc import Callable
from dataclasses import dataclass

from starlette.responses import Response

from bot.core.staff import Role
from bot.web.visit import Visit

Handler = Callable[[Visit], Response]
STAFF = frozenset(Role)
NURSE = frozenset({Role.NURSE})
EDUCATOR = frozenset({Role.EDUCATOR})
CARE = frozenset({Role.NURSE, Role.EDUCATOR})
OVERSIGHT = frozenset({Role.NURSE, Role.ADMINISTRATOR})
REPORTS = frozenset({Role.EDUCATOR, Role.NURSE, Role.ADMINISTRATOR})
EVERYONE: frozenset[Role] = frozenset()  # also those who have not signed in; see `Line.open`
SMALL = 64 * 1024  # octets of a form's body
LARGE = 2 * 1024 * 1024  # of an uploaded schedule
DRAFT = 1024 * 1024  # of one content file; accents and line ends take more room in a form


@dataclass(frozen=True, slots=True)
class Line:
    """One path and method. `open`: for anyone, signed in or not. `live`: asked by the page itself
    every few seconds, so it keeps nobody signed in. A POST always needs the form's token."""

    method: str
    path: str
    handler: Handler
    roles: frozenset[Role]
    open: bool = False
    live: bool = False
    largest: int = SMALL

    @property
    def unsafe(self) -> bool:
        """True when it may change something."""
        return self.method not in ("GET", "HEAD")


def get(path: str, handler: Handler, roles: frozenset[Role], *, live: bool = False) -> Line:
    """A page to look at."""
    return Line("GET", path, handler, roles, live=live)


def post(path: str, handler: Handler, roles: frozenset[Role], largest: int = SMALL) -> Line:
    """A form to send."""
    return Line("POST", path, handler, roles, largest=largest)
