"""``gapshift serve``: the dashboard in the browser."""

from __future__ import annotations

import argparse
from pathlib import Path

NAME = "serve"
HELP = "open the dashboard in the browser, with your files or the invented demo data"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", metavar="FILE", nargs="*", help="files to open; none: the demo programme")
    parser.add_argument("--port", type=int, default=5006, help="the port to listen on (default 5006)")
    parser.add_argument("--address", default="127.0.0.1", help="the address to listen on (default 127.0.0.1)")
    parser.add_argument("--no-browser", action="store_true", help="do not open a browser window")


def run(args: argparse.Namespace) -> int:
    """Serve until interrupted."""
    from dashboard.server import serve

    return serve([Path(f) for f in args.files], port=args.port, address=args.address, browser=not args.no_browser)
