"""The ``gapshift`` command. Imports panel only when it serves."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Mapping, Sequence
from importlib import import_module
from importlib.metadata import PackageNotFoundError, version
from importlib.util import find_spec
from types import MappingProxyType

from dashboard.commands import COMMANDS
from dashboard.commands.examples import epilog
from methods.cage import keep_warm, set_limits
from methods.errors import InputError

# The matrices here are small: threads of the linear algebra only wait for each other, many times longer than they work.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


class _Parser(argparse.ArgumentParser):
    """One line on standard error for a wrong call, and exit status 2."""

    #: The parsers of the subcommands by their names.
    commands: Mapping[str, argparse.ArgumentParser] = MappingProxyType({})

    def error(self, message: str) -> None:  # type: ignore[override]
        self.exit(2, f"gapshift: {message} (see '{self.prog} --help')\n")


def parser() -> _Parser:
    """Build the command line from the modules of ``dashboard.commands``."""
    top = _Parser(
        prog="gapshift",
        description="Compare dielectric-breakdown test methods for insulating oil. "
        "Without a command: the dashboard, with invented demo data.",
        epilog="This software analyses numbers. It does not control, interlock or approve any high-voltage test.",
    )
    top.add_argument("--version", action="version", version=f"gapshift {_version()}")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", parser_class=_Parser)
    for name in COMMANDS:
        if find_spec(f"dashboard.commands.{name}") is None:
            continue
        module = import_module(f"dashboard.commands.{name}")
        sub = commands.add_parser(
            module.NAME, help=module.HELP, description=module.HELP, epilog=epilog(module.NAME),
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )  # fmt: skip
        module.add_arguments(sub)
        sub.set_defaults(run=module.run)
    top.commands = commands.choices
    return top


def _version() -> str:
    try:
        return version("gapshift")
    except PackageNotFoundError:  # run from a copy of the source that was never installed
        return "(not installed)"


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; return the exit status. Bad input is one line on standard error and status 2."""
    words = list(sys.argv[1:] if argv is None else argv)
    if not words:
        words = ["serve"]
    try:
        args = parser().parse_args(words)
        set_limits(getattr(args, "read_memory", None), getattr(args, "read_seconds", None))
        if getattr(args, "file", None) or getattr(args, "files", None):
            keep_warm()
        return int(args.run(args))
    except InputError as error:
        from dashboard.commands.mending import with_option

        print("gapshift: " + with_option(error), file=sys.stderr)
        return 2
    except FileNotFoundError as error:
        print(f"gapshift: there is no file {error.filename!r}", file=sys.stderr)
        return 2
    except (IsADirectoryError, PermissionError) as error:
        print(f"gapshift: {error.filename!r} cannot be read: {error.strerror}", file=sys.stderr)
        return 2
    except BrokenPipeError:  # the reader of our output went away, as `| head` does
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:
        return 130


if __name__ == "__main__":
    sys.exit(main())
