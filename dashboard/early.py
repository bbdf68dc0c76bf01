"""The page is sent before its session is built: the browser fetches its scripts while the server works.

What a browser gets first is the same for every session but for the session's token: the document around the page. Panel
builds the session, then sends it. Here it is rendered once from an empty frame, sent at once, and the session is built
right after; the browser's socket, which comes last, waits for it.
"""

from __future__ import annotations

import asyncio
import re
import time
from pathlib import Path
from typing import Any, ClassVar

from bokeh.document import Document
from bokeh.embed.util import RenderItem
from bokeh.server.urls import per_app_patterns
from bokeh.util.token import generate_jwt_token, generate_session_id
from panel.io.resources import Resources
from panel.io.server import (
    DocHandler,
    _set_request_route_context,
    bundle_resources,
    html_page_for_render_items,
)
from panel.io.state import set_curdoc

#: Stands where the token goes; a token has no such characters.
_TOKEN = "{session token}"
#: Scripts that no part of the dashboard uses: a shim for modules, and drawing by WebGL.
_UNUSED = ("es-module-shims", "bokeh-gl")
#: How often to look whether a browser that comes for the first time has its files, how long a pause says that it asks
#: for no more of them (it may have kept some), and how long to wait at most.
_LOOK_S, _PAUSE_S, _PATIENCE_S = 0.02, 0.3, 2.0
#: Browsers that are remembered; one that is forgotten waits a quarter of a second once more.
_MOST_KNOWN = 1000


class EarlyHandler(DocHandler):
    """Answers a plain call of the page; whatever names a session or a theme goes panel's own way."""

    _page = ""
    _known: ClassVar[set[tuple[str, str]]] = set()  # browsers that have the files
    _scripts: ClassVar[frozenset[str]] = frozenset()  # paths of what the page asks for first
    _sent: ClassVar[dict[str, float]] = {}  # path of a file: when it was sent last

    async def get(self, *args: Any, **kwargs: Any) -> None:
        if {"bokeh-session-id", "bokeh-token", "theme"} & set(self.request.arguments):
            await super().get(*args, **kwargs)
            return
        _set_request_route_context(self, *args, **kwargs)
        if not EarlyHandler._page:
            EarlyHandler._page = self._empty_page()
            EarlyHandler._scripts = frozenset(
                Path(s).name for s in re.findall(r'src="([^"?]+\.js)', EarlyHandler._page)
            )
        app = self.application
        session = generate_session_id(secret_key=app.secret_key, signed=app.sign_sessions)
        token = generate_jwt_token(
            session, secret_key=app.secret_key, signed=app.sign_sessions, expiration=app.session_token_expiration,
            extra_payload=self._generate_token_payload(),
        )  # fmt: skip
        self.set_header("Cache-Control", "no-store")
        self.set_header("Content-Type", "text/html")
        self.finish(EarlyHandler._page.replace(_TOKEN, token))
        await self._until_scripts_are_sent()
        await self.application_context.create_session_if_needed(session, self.request, token)

    async def _until_scripts_are_sent(self) -> None:
        """A browser that comes for the first time asks for its files now; a session that is built keeps it waiting."""
        browser = (self.request.remote_ip or "", self.request.headers.get("User-Agent", ""))
        if browser in EarlyHandler._known:
            return
        if len(EarlyHandler._known) > _MOST_KNOWN:
            EarlyHandler._known.clear()
        EarlyHandler._known.add(browser)
        _note_files(self.application)
        begun = time.monotonic()
        while (now := time.monotonic()) < begun + _PATIENCE_S:
            await asyncio.sleep(_LOOK_S)
            sent = {name: at for name, at in EarlyHandler._sent.items() if at > begun}
            if sent.keys() >= EarlyHandler._scripts or now > max(sent.values(), default=begun) + _PAUSE_S:
                return

    def _empty_page(self) -> str:
        from dashboard.frame import Frame

        document = Document()
        with set_curdoc(document):
            Frame().server_doc(document)
            bundle = bundle_resources(document.roots, Resources.from_bokeh(self.application.resources()))
            bundle.js_files = [f for f in bundle.js_files if not any(name in str(f) for name in _UNUSED)]
            item = RenderItem(token=_TOKEN, roots=document.roots, use_for_title=False)
            return html_page_for_render_items(
                bundle, {}, [item], document.title, template=document.template,
                template_variables=document.template_variables,
            )  # fmt: skip


def _note_files(application: Any) -> None:
    """Have the application note when it has sent a script, beside logging it."""
    if "log_request" in vars(application):
        return
    log = application.log_request

    def noted(handler: Any) -> None:
        if (path := handler.request.path).endswith(".js"):
            EarlyHandler._sent[path.rpartition("/")[2]] = time.monotonic()
        log(handler)

    application.log_request = noted


def answer_early() -> None:
    """Have servers that are made from now on answer with the page first."""
    for at, (path, handler) in enumerate(per_app_patterns):
        if handler is DocHandler:
            per_app_patterns[at] = (path, EarlyHandler)
