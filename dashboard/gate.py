"""Who may come in: asked of every page and every socket before a session is looked at or built.

A page of another host whose name was made to point at this machine sends its own name along; a session is known to the
browser alone for which it was built; and nobody has more pages built at once than they look at. All of it stands in
the place that bokeh gives to whoever says who a visitor is, so that no page and no socket goes past it.
"""

from __future__ import annotations

import secrets
import time
from collections import defaultdict, deque
from collections.abc import Callable, Collection
from typing import Any

from bokeh.server.auth_provider import AuthProvider
from panel.auth import BasicAuthProvider, OAuthProvider
from tornado.web import HTTPError, OutputTransform, RequestHandler

from dashboard import jobs, turns

#: Sessions that were built for pages whose browsers have not come back for them, for all together.
MOST_WAITING = 24
#: New pages for one visitor in so many seconds; more than anybody opens by hand.
MOST_PAGES, IN_SECONDS = 60, 60.0
#: Sessions that are open, for all together: each holds some MB, and its files.
MOST_SESSIONS = 200
#: What would name a session in an address: nobody but the server names one.
_NAMES = {"bokeh-session-id", "bokeh-token"}


class Gate:
    """The rules, and what they count.

    Parameters
    ----------
    hosts : collection of str
        ``host:port`` under which the server may be reached, in lower case; ``*`` alone lets every name in.
    """

    def __init__(self, hosts: Collection[str]) -> None:
        self.hosts = {h.lower() for h in hosts}
        self._pages: dict[str, deque[float]] = defaultdict(deque)

    def check(self, handler: Any) -> None:
        """Let the request pass, or raise what tornado answers with: 403 or 503."""
        request = handler.request
        if "*" not in self.hosts and not self._is_ours(request.host):
            raise HTTPError(403, reason="This server does not go by that name")
        if _NAMES & set(request.arguments) or "Bokeh-Session-Id" in request.headers:
            raise HTTPError(403, reason="An address does not name a session: open the plain address")
        if "Sec-Websocket-Protocol" not in request.headers and hasattr(handler, "application_context"):
            self._count(str(request.remote_ip), handler.application_context.sessions)

    def _is_ours(self, host: str) -> bool:
        host = host.lower()
        return host in self.hosts or (":" not in host.rpartition("]")[2] and f"{host}:80" in self.hosts)

    def _count(self, visitor: str, sessions: Any) -> None:
        now = time.monotonic()
        pages = self._pages[visitor]
        while pages and pages[0] < now - IN_SECONDS:
            pages.popleft()
        open_now = list(sessions)
        waiting = sum(s.connection_count == 0 for s in open_now)
        if waiting >= MOST_WAITING or len(pages) >= MOST_PAGES:
            raise HTTPError(503, reason="Too many pages are being opened at once: wait a minute and load this again")
        if len(open_now) >= MOST_SESSIONS:
            raise HTTPError(503, reason=f"{MOST_SESSIONS} sessions are open, which is the most: try again later")
        pages.append(now)
        if len(self._pages) > 10_000:  # visitors of long ago
            self._pages = defaultdict(deque, {v: p for v, p in self._pages.items() if p and p[-1] > now - IN_SECONDS})

    def guarding(self, inner: Callable[[Any], Any] | None) -> Callable[[Any], Any]:
        """Ask here first, then whoever else says who the visitor is."""

        def user(handler: Any) -> Any:
            self.check(handler)
            return inner(handler) if inner is not None else "visitor"

        return user


class Open(AuthProvider):
    """No password: whoever passes the gate is let in."""

    def __init__(self, gate: Gate) -> None:
        self._gate = gate
        super().__init__()

    @property
    def get_user(self) -> Callable[[Any], Any]:
        return self._gate.guarding(None)

    @property
    def get_user_async(self) -> None:
        return None

    @property
    def login_url(self) -> str:
        return "/"  # nobody is sent there: the gate refuses, it does not ask

    @property
    def get_login_url(self) -> None:
        return None

    @property
    def login_handler(self) -> None:
        return None

    @property
    def logout_url(self) -> None:
        return None

    @property
    def logout_handler(self) -> None:
        return None


class Password(BasicAuthProvider):
    """Panel's own sign-in by user and password, behind the gate."""

    def __init__(self, gate: Gate, **params: Any) -> None:
        self._gate = gate
        super().__init__(**params)

    @property
    def get_user(self) -> Callable[[Any], Any]:
        return self._gate.guarding(super().get_user)


class OAuth(OAuthProvider):
    """Panel's own sign-in by another service, behind the gate."""

    def __init__(self, gate: Gate, **params: Any) -> None:
        self._gate = gate
        super().__init__(**params)

    @property
    def get_user_async(self) -> Callable[[Any], Any]:
        inner = super().get_user_async

        async def user(handler: Any) -> Any:
            self._gate.check(handler)
            return await inner(handler)

        return user


class Alive(RequestHandler):
    """Says which process answers, so that a page sees when its own has gone; and how much it has to do for pages."""

    name = secrets.token_hex(8)

    def get(self) -> None:
        self.set_header("Cache-Control", "no-store")
        self.set_header("Content-Type", "text/plain")
        self.set_header("X-Waiting", str(turns.waiting() + jobs.computing()))
        self.write(self.name)


#: What a page may load and whom it may ask: itself alone. Bokeh makes functions of text, and styles, as it draws.
POLICY = (
    "default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval' blob:; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data: blob:; font-src 'self' data:; connect-src 'self' ws: wss: blob:; worker-src 'self' blob:; "
    "object-src 'none'; base-uri 'self'; form-action 'self'; frame-ancestors 'self'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Frame-Options": "SAMEORIGIN",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


class Headers(OutputTransform):
    """Headers that tell a browser what it must not do with an answer, on all of them."""

    def transform_first_chunk(
        self, status_code: int, headers: Any, chunk: bytes, finishing: bool
    ) -> tuple[int, Any, bytes]:
        for name, value in HEADERS.items():
            headers[name] = value
        if "Server" in headers:  # no versions
            del headers["Server"]
        return status_code, headers, chunk
