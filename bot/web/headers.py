"""Puts the security headers on every answer, whatever it is."""

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

# Nothing inline and nothing from another host; see ASVS 5.0 chapter 3. `form-action` and
# `frame-ancestors` are not covered by `default-src`.
POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self'",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
ALWAYS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    # Not "no-referrer": with it browsers send forms with "Origin: null", which says nothing.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
}
TWO_YEARS = "max-age=63072000"


class SecurityHeaders:
    """Middleware. `secure`: the page is reached by https, so browsers may be told to keep to it."""

    def __init__(self, app: ASGIApp, secure: bool) -> None:
        self._app = app
        self._secure = secure

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Add the headers to the first part of each answer."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                self._put(MutableHeaders(scope=message), scope["path"])
            await send(message)

        await self._app(scope, receive, with_headers)

    def _put(self, headers: MutableHeaders, path: str) -> None:
        for name, value in ALWAYS.items():
            headers[name] = value
        if self._secure:
            headers["Strict-Transport-Security"] = TWO_YEARS
        fixed = path.startswith("/static/")
        headers["Cache-Control"] = "no-cache" if fixed else "no-store"
