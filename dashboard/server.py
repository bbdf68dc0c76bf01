"""The server: one process, sessions built by :func:`dashboard.app.build`."""

from __future__ import annotations

import ctypes
import gc
import json
import os
import secrets
import socket
import ssl
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

from dashboard import workers
from dashboard.cache import sweep
from methods.archive.container import SUFFIX, is_shared
from methods.cage import keep_warm
from methods.cage.source import bytes_of
from methods.errors import InputError

#: Milliseconds that a session whose connection broke is kept for its browser to come back.
_KEPT_MS = 60_000
_CHECK_MS = 15_000
#: Seconds without a new session after which the server gets ready for the pages behind the first.
_WARM_AFTER_S = 4.0
#: Seconds between the end of a session and the collection of what it held.
_TIDY_AFTER_S = 3.0
#: The longest message that a browser may send: a piece of a file, as text, and what goes with it.
_MESSAGE_BYTES = 8_000_000
_tidying: threading.Timer | None = None
_last_session = 0.0

#: Addresses that only this machine reaches; any other has to be asked for and is cautioned about.
_OWN_MACHINE = ("127.0.0.1", "localhost", "::1")


def origins(address: str, port: int) -> list[str]:
    """Hosts under which a browser may have reached this address: panel answers no others."""
    hosts = {"localhost", "127.0.0.1", address}
    if address not in _OWN_MACHINE:
        hosts |= {socket.gethostname(), socket.getfqdn()}
        try:
            hosts |= {str(found[4][0]) for found in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)}
        except OSError:  # a machine whose own name does not resolve is reached by its address
            pass
    return [f"{host}:{port}" for host in sorted(hosts)]


def free_port(wanted: int, address: str) -> int:
    """The wanted port where it is free, otherwise the next one that is.

    Raises
    ------
    InputError
        The address is not one of this machine's, or no port is free.
    """
    if not 1 <= wanted <= 65535:
        raise InputError(f"--port {wanted}: a port lies between 1 and 65535.")
    for port in range(wanted, min(wanted + 50, 65536)):
        with socket.socket(socket.AF_INET6 if ":" in address else socket.AF_INET, socket.SOCK_STREAM) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((address, port))
            except PermissionError:
                raise InputError(f"Port {port} is reserved for the system: choose one above 1023.") from None
            except OSError as error:
                if isinstance(error, socket.gaierror) or error.errno == 99:
                    raise InputError(f"--address {address}: this machine has no such address.") from None
                continue
            return port
    raise InputError(f"Ports {wanted} to {wanted + 49} are all busy: choose another with --port.")


def application(files: Sequence[Path | tuple[str, bytes]]) -> Callable[[], Any]:
    """What the server calls for every session; a file is a path, or name and content."""

    def session() -> Any:
        global _last_session
        from dashboard.app import show

        shown = show(files)
        _last_session = time.monotonic()
        return shown

    return session


def extend() -> None:
    """Have panel do without what the dashboard does not use."""
    import panel as pn

    pn.extension(defer_load=False, notifications=False, reconnect=True, respect_explicit_sizing=True)


@dataclass(frozen=True)
class Entrance:
    """How visitors come in, beside by the address itself.

    Attributes
    ----------
    password_file : Path or None
        JSON of users and their passwords, or a file that holds one password.
    oauth : str
        A service that panel knows by name; key and secret then come from panel's own variables of the environment
        (``PANEL_OAUTH_KEY``, ``PANEL_OAUTH_SECRET``, ``PANEL_COOKIE_SECRET`` ...).
    prefix : str
        Path under which everything stands, behind a proxy.
    origins : sequence of str
        More names, as ``host:port``, under which it is reached, such as a proxy's.
    certificate, key : Path or None
        For TLS by this server itself: its certificate in PEM (with those that vouch for it), and the private key where
        that is not in the same file.
    """

    password_file: Path | None = None
    oauth: str = ""
    prefix: str = ""
    origins: Sequence[str] = ()
    certificate: Path | None = None
    key: Path | None = None

    @property
    def guarded(self) -> bool:
        return bool(self.password_file or self.oauth)


def _entry(entrance: Entrance, hosts: Sequence[str]) -> dict[str, Any]:
    """What panel is told of who may come in."""
    import panel as pn

    from dashboard import gate

    # Several processes that share bokeh's and panel's own variables know each other's sessions and visitors.
    secret = os.environ.get("BOKEH_SECRET_KEY") or secrets.token_urlsafe(32)
    guard = gate.Gate(hosts)
    here = Path(__file__).parent
    told = {"error_template": str(here / "refused.html"), "logout_template": str(here / "refused.html")}
    given: dict[str, Any] = {
        "sign_sessions": True, "secret_key": secret.encode(), "transforms": [gate.Headers], "prefix": entrance.prefix,
        "extra_patterns": [("/alive", gate.Alive)],
    }  # fmt: skip
    if not entrance.guarded:
        return {**given, "auth_provider": gate.Open(guard)}
    given["cookie_secret"] = os.environ.get("PANEL_COOKIE_SECRET") or secret
    if entrance.oauth:
        pn.config.oauth_provider = entrance.oauth  # type: ignore[misc]
        return {**given, "auth_provider": gate.OAuth(guard, **told)}
    pn.config.basic_auth = _passwords(Path(str(entrance.password_file)))  # type: ignore[misc]
    return {**given, "auth_provider": gate.Password(guard, login_template=str(here / "login.html"), **told)}


def _tls(entrance: Entrance) -> dict[str, str]:
    """What bokeh is told of a certificate, once it is seen to be one."""
    if entrance.certificate is None:
        if entrance.key is not None:
            raise InputError("--tls-key needs --tls-certificate beside it.")
        return {}
    for path in (entrance.certificate, entrance.key):
        if path is not None:
            bytes_of(path, None, 1_000_000)  # says what is wrong with a path
    try:
        ssl.create_default_context(ssl.Purpose.CLIENT_AUTH).load_cert_chain(entrance.certificate, entrance.key)
    except (ssl.SSLError, OSError) as error:
        why = "the key belongs to another certificate" if "MISMATCH" in str(error) else "no certificate with its key"
        raise InputError(f"{entrance.certificate}: {why}, in PEM.") from None
    return {"ssl_certfile": str(entrance.certificate), **({"ssl_keyfile": str(entrance.key)} if entrance.key else {})}


def _passwords(path: Path) -> Any:
    """Users and their passwords, or one password for all."""
    text, _ = bytes_of(path, None, 1_000_000)
    try:
        held = json.loads(text)
    except ValueError:
        held = text.decode("utf-8", errors="replace").strip()
    users = {str(k): str(v) for k, v in held.items()} if isinstance(held, dict) else str(held)
    if not users or (isinstance(users, dict) and not all(users.values())):
        raise InputError(f'{path}: write one password, or JSON such as {{"name": "password"}}.')
    return users


def serve(
    files: Sequence[Path], *, port: int = 5006, address: str = "127.0.0.1", browser: bool = True,
    entrance: Entrance | None = None,
) -> int:  # fmt: skip
    """Read the files once, so that a bad one is told at once, then serve until interrupted."""
    entrance = entrance or Entrance()
    if not address.strip():
        raise InputError("--address is empty: leave it away for this machine alone, or name one of its addresses.")
    tls = _tls(entrance)
    keep_warm()
    workers.warm()
    gc.disable()  # what is imported stays for good: looking through it for garbage costs a tenth of the start
    from dashboard.study import Study

    study, contents = Study(), []
    for file in files:
        try:
            # Deleted or changed meanwhile: every visitor sees the same.
            content, name = (_gathered(file), f"{file.name}{SUFFIX}") if is_shared(file) else (None, file.name)
            study.open(file if content is None else content, name)
            contents.append((name, file.read_bytes() if content is None else content))
        except InputError as error:
            raise InputError(str(error) if file.name in str(error) else f"{file.name}: {error}") from error
    chosen = free_port(port, address)
    if chosen != port:
        print(f"gapshift: port {port} is busy, using {chosen}", file=sys.stderr)
    hosts = [*origins(address, chosen), *entrance.origins]
    given = {**_entry(entrance, hosts), **tls}
    if address not in _OWN_MACHINE and not entrance.guarded:
        print(
            f"gapshift: Caution: at {address} everyone who reaches this machine over the network sees these records "
            "and can open others; there is no password (see --password-file).",
            file=sys.stderr,
        )
    import panel as pn

    import dashboard.app  # noqa: F401  (before the first session)
    from dashboard.pages import entries

    extend()
    shown = "localhost" if address in ("127.0.0.1", "localhost", "::1", "0.0.0.0") else address
    scheme = "https" if entrance.certificate else "http"
    print(f"gapshift is at {scheme}://{shown}:{chosen}{entrance.prefix}/ (Ctrl-C stops it)", flush=True)
    gc.freeze()
    gc.enable()
    pn.state.on_session_destroyed(_tidy_soon)
    import_aside("methods.scatter", "bokeh.plotting", "markdown_it")
    pages = [entry.module for entry in entries()]
    import_aside("scipy.optimize", "scipy.stats", *pages, quiet_s=_WARM_AFTER_S)
    pn.serve(
        {"/": application(contents)},
        port=chosen,
        address=address,
        show=browser,
        title="gapshift",
        verbose=False,
        websocket_origin=hosts,
        websocket_max_message_size=_MESSAGE_BYTES,
        **given,
        unused_session_lifetime_milliseconds=_KEPT_MS,
        check_unused_sessions_milliseconds=_CHECK_MS,
    )
    return 0


def _gathered(folder: Path) -> bytes:
    """A folder of shared archives as one archive."""
    from methods.archive import gather_shared

    with tempfile.TemporaryDirectory(prefix="gapshift-") as place:
        return gather_shared(folder, Path(place, f"shared{SUFFIX}")).read_bytes()


def _tidy() -> None:
    gc.collect()
    sweep()  # what was computed for sessions that are gone
    gc.collect()
    _give_back()


def _give_back() -> None:
    """Have the allocators give what is free back to the machine: they keep it for the next large file otherwise."""
    arrow = sys.modules.get("pyarrow")
    if arrow is not None:
        arrow.default_memory_pool().release_unused()
    if sys.platform == "linux":
        with suppress(OSError, AttributeError):  # another C library than GNU's
            ctypes.CDLL(None).malloc_trim(0)


def _tidy_soon(_context: Any) -> None:
    """Give back what a closed session held once those that close with it are gone, not when memory runs short."""
    global _tidying
    if _tidying is None or not _tidying.is_alive():
        _tidying = threading.Timer(_TIDY_AFTER_S, _tidy)
        _tidying.daemon = True
        _tidying.start()


def import_aside(*names: str, quiet_s: float = 0.0) -> None:
    """Import, beside all else, what pages ask for when they are first shown.

    With ``quiet_s``, each once nobody has opened the dashboard for so many seconds: an import keeps a session that is
    being built waiting.
    """

    def work() -> None:
        begun = time.monotonic()
        for name in names:
            while (left := max(begun, _last_session) + quiet_s - time.monotonic()) > 0:
                time.sleep(left)
            import_module(name)

    threading.Thread(target=work, name="imports", daemon=True).start()
