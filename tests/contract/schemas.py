"""Makes the published JSON Schemas of the commands from what they print for their examples.

    python -m tests.contract.schemas        writes dashboard/schemas/*.json anew

What every run of a place has in common is required; further keys may come with a later version and break nobody. A
number, a text or a part may be null: JSON has no other word for what cannot be computed.
"""

from __future__ import annotations

import contextlib
import io
import json
import shlex
import tempfile
from pathlib import Path
from typing import Any

from dashboard.cli import main
from dashboard.commands.examples import EXAMPLES

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / "dashboard" / "schemas"
#: Objects whose keys are names of the user's (levels, laboratories, columns) or of parameters.
MAPS = frozenset({"group", "parameters", "standard_errors", "h", "k", "condition", "levels_of", "constant"})
#: What is a word of the user's in one file and a number in another.
LEVELS = frozenset({"level", "reference", "first", "second", "sample", "laboratory", "found", "filling", "value"})


def document(command: str, words: str, folder: Path) -> Any:
    """What an example prints with ``--json``; the files it names are the demo's, what it writes goes to ``folder``."""
    demo = ROOT / "data"
    argv = shlex.split(words)
    if argv[:1] != ["remove"]:  # which takes the name of a file, not its place
        argv = [str(demo / w) if (demo / w).is_file() else w for w in argv]
    if argv[:1] in (["share"], ["gather"]):  # which name a folder
        argv[1] = str(folder / argv[1])
    for option in {"--out", "--archive"} & set(argv):
        place = argv.index(option) + 1
        argv[place] = str(folder / argv[place])
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(io.StringIO()):
        status = main([command, *argv, "--json"])
    assert status in (0, 1), f"gapshift {command} {words}: status {status}"
    return json.loads(out.getvalue())


def infer(values: list[Any], key: str = "") -> dict[str, Any]:
    """The schema of a place where these values were seen."""
    kinds: set[str] = set()
    schema: dict[str, Any] = {}
    objects = [v for v in values if isinstance(v, dict)]
    arrays = [v for v in values if isinstance(v, list)]
    if objects:
        kinds |= {"object", "null"} if key else {"object"}  # a part that the data do not give is null
        names = list(dict.fromkeys(n for o in objects for n in o))
        if key in MAPS:
            schema["additionalProperties"] = infer([v for o in objects for v in o.values()])
        else:
            schema["properties"] = {n: infer([o[n] for o in objects if n in o], n) for n in names}
            required = [n for n in names if all(n in o for o in objects)]
            if required:
                schema["required"] = required
    if arrays:
        kinds.add("array")
        items = [v for a in arrays for v in a]
        if items:
            schema["items"] = infer(items)
    for value in values:
        if isinstance(value, bool):
            kinds.add("boolean")
        elif isinstance(value, (int, float)):
            kinds |= {"number", "null"}
        elif isinstance(value, str):
            kinds |= {"string", "null"}
        elif value is None:
            kinds.add("null")
    if key in LEVELS and kinds & {"number", "string"}:
        kinds |= {"number", "string"}
    if kinds == {"null"}:  # what it is when it is there was not seen
        return {}
    listed = sorted(kinds)
    return {"type": listed[0] if len(listed) == 1 else listed, **schema}


def schema(command: str, documents: list[Any]) -> dict[str, Any]:
    """The whole schema of one command."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"gapshift {command} --json",
        **infer(documents),
    }


def commands() -> dict[str, list[str]]:
    """Command, with its kind where it has several documents -> the arguments of its examples."""
    out: dict[str, list[str]] = {}
    for command, examples in EXAMPLES.items():
        for words, _ in examples:
            if command != "serve":
                out.setdefault(f"{command}-{words.split()[0]}" if command == "plan" else command, []).append(words)
    return out


def make() -> None:
    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        for name, examples in commands().items():
            found = [
                document(name.partition("-")[0] if name.startswith("plan-") else name, w, Path(folder))
                for w in examples
            ]
            text = json.dumps(schema(name.replace("plan-", "plan "), found), indent=1, ensure_ascii=False)
            (FOLDER / f"{name}.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    make()
