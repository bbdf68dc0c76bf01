"""``gapshift serve``: the dashboard in the browser."""

from __future__ import annotations

import argparse
from pathlib import Path

from dashboard.commands.common import add_reading_limits
from methods.errors import InputError

NAME = "serve"
HELP = "open the dashboard in the browser, with your files or the invented demo data"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", metavar="FILE", nargs="*", help="files to open; none: the demo programme")
    parser.add_argument("--port", type=int, default=5006, help="the port to listen on (default 5006)")
    parser.add_argument("--address", default="127.0.0.1", help="the address to listen on (default 127.0.0.1)")
    parser.add_argument("--no-browser", action="store_true", help="do not open a browser window")
    group = parser.add_argument_group("who may come in", "on this machine alone nobody else does")
    group.add_argument("--password-file", metavar="FILE", help='one password, or JSON of users: {"name": "password"}')
    group.add_argument(
        "--oauth", metavar="SERVICE", default="",
        help="sign in by a service that panel knows; PANEL_OAUTH_KEY and PANEL_OAUTH_SECRET hold its key and secret",
    )  # fmt: skip
    group.add_argument("--tls-certificate", metavar="PEM", help="serve over TLS (https) with this certificate")
    group.add_argument("--tls-key", metavar="PEM", help="its private key, where that is not in the same file")
    group.add_argument("--prefix", metavar="PATH", default="", help="path under which a proxy shows it, such as /oil")
    group.add_argument(
        "--origin", metavar="HOST:PORT", action="append", default=[],
        help="another name under which it is reached, such as the proxy's; may be repeated",
    )  # fmt: skip
    add_reading_limits(parser.add_argument_group("reading"))


def run(args: argparse.Namespace) -> int:
    """Serve until interrupted."""
    from dashboard.server import Entrance, serve

    if args.password_file and args.oauth:
        raise InputError("--password-file and --oauth exclude each other.")
    prefix = "/" + args.prefix.strip("/") if args.prefix.strip("/") else ""
    password, certificate, key = (
        Path(name) if name else None for name in (args.password_file, args.tls_certificate, args.tls_key)
    )
    entrance = Entrance(password, args.oauth, prefix, args.origin, certificate, key)
    return serve(
        [Path(f) for f in args.files], port=args.port, address=args.address, browser=not args.no_browser,
        entrance=entrance,
    )  # fmt: skip
