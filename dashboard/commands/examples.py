"""An example or two of each command: for its help, for the documentation, and run by the tests on the demo data.

Names of files are those of the demo set; what they hold is invented.
"""

from __future__ import annotations

import argparse
from typing import Any

#: Command -> (arguments, what they ask).
EXAMPLES: dict[str, tuple[tuple[str, str], ...]] = {
    "serve": (("routine_wide.csv --port 5010", "the dashboard with your own file"),),
    "check": (
        ("messy_sheet.xlsx", "what was read, refused and guessed"),
        ("messy_sheet.xlsx --out readings.csv", "the same, and the readings in a file that reads back as it is"),
    ),
    "choose": (
        ("programme_long.csv", "which of eight procedures to choose, and how sure that is"),
        ("routine_wide.csv --half-width 8% --weight oil=1", "with the oil that it takes"),
    ),
    "fit": (
        ("programme_long.csv --by electrode --family normal --family weibull", "two families for each electrode"),
        ("routine_wide.csv --by sample", "each oil by itself; >75 counts as withstood"),
    ),
    "shift": (
        ("programme_long.csv --by electrode", "how far the electrodes read apart on the same oils"),
        ("bench_studies.csv --by stirring --reference none", "what stirring does"),
        (
            "programme_long.csv --by procedure --model mixed --with laboratory --covariate temperature_c",
            "procedures, with the laboratories' effect and the temperature's line taken out",
        ),
    ),
    "equivalence": (("programme_long.csv --by laboratory --margin 10%", "do the laboratories agree within 10 %?"),),
    "confounding": (("programme_long.csv", "what changes together, and which tests would take it apart"),),
    "plan": (
        ("mean --cov 15% --between-cov 5% --half-width 10%", "fillings and breakdowns for a mean"),
        ("difference --cov 15% --difference 10% --power 80%", "to see a difference of 10 %"),
        ("percentile --p 1% --cov 15% --half-width 10%", "to know the 1 % point to 10 % of the mean"),
        ("decision --limit 30 --mean 36 --cov 15% --risk 5%", "to tell a mean of 36 kV from a limit of 30"),
        ("equivalence --margin 8% --cov 15% --between-cov 4%", "to show that two conditions agree within 8 %"),
        ("sd --within 20%", "to know the scatter itself to 20 %"),
        (
            'design --half-width 10% --cov 15% --between-cov 5% --minutes 120 --protocol "ASTM D1816 2 mm"',
            "what two hours at the bench give",
        ),
        ("pilot routine_wide.csv --half-width 10%", "with the file as the pilot"),
        ("next 41.2 44.8 39.5 47.0 43.1 --half-width 10%", "after five breakdowns: stop or go on"),
        ("study routine_wide.csv --half-width 10% --out sheet.xlsx", "a run sheet that compares its two methods"),
        (
            'round --laboratories 8 --oil A --oil B --procedure "ASTM D1816 2 mm" --out round.csv',
            "how well s_r and s_R become known, with the sheet",
        ),
    ),
    "decide": (
        ('routine_wide.csv --limit 30 --limit-method "D1816 2 mm"', "does each oil pass 30 kV, and how sure is that?"),
        (
            'routine_wide.csv --limit 40 --limit-method "D1816 2 mm" --limit-liquid "mineral oil" --poor-below 30',
            "grades of your own: good above 40 kV, poor below 30",
        ),
    ),
    "budget": (("routine_wide.csv --voltmeter 1%", "where the uncertainty of each mean comes from"),),
    "components": (("laboratory_round.csv", "laboratory, sample, filling, breakdown"),),
    "order": (("programme_long.csv", "does the voltage drift along a series?"),),
    "precision": (("laboratory_round.csv", "repeatability and reproducibility of each oil"),),
    "gap-law": (("bench_studies.csv --at 2.2", "how the voltage grows with the gap, and what 2.2 mm would give"),),
    "rate": (("bench_studies.csv --from 0.5 --to 3", "what a faster ramp would read"),),
    "geometry": (("bench_studies.csv --first spherical@2.5 --second mushroom@2.5", "what the stressed area explains"),),
    "agreement": (('programme_long.csv --first "ASTM D877 A" --second "ASTM D1816 2 mm"', "two of them, same oils"),),
    "sensitivity": (("programme_long.csv", "which method tells the oils apart"),),
    "rounds": (
        ("laboratory_round.csv --by laboratory --level sample", "rounds that are larger than memory"),
        (
            "messy_sheet.xlsx laboratory_round.csv --by sample",
            "a sheet that is read first, beside a clean table",
        ),
    ),
    "archive": (
        ("add programme_long.csv routine_wide.csv --archive oils.duckdb", "begin an archive, or add to it"),
        ("mark 2025-03-02 polished --archive oils.duckdb", "write into its electrode log"),
        ("list --archive oils.duckdb", "what it holds"),
        ("share shared --archive oils.duckdb", "let others read it, as a folder of Parquet"),
        ("gather shared --archive everybody.duckdb", "one archive of what such a folder holds"),
        ("remove routine_wide.csv --archive oils.duckdb", "take a file out again"),
    ),
    "check-oil": (
        (
            'programme_long.csv --where "sample=Alderholt T1" --where "method=ASTM D877 B" '
            '--where "laboratory=Fenmark central"',
            "one oil, one procedure: all results",
        ),
    ),
    "protocols": (
        ("", "the methods that it knows"),
        ("astm_d1816_1mm", "what a method prescribes, value by value with its mark"),
        ("astm_d877_b", "one result of five fillings"),
    ),
    "limits": (
        ("", "every limit with its document, liquid, stage, equipment, method, gap and mark"),
        ('--method "ASTM D1816 1 mm" --fluid "mineral oil"', "those that such a result may be compared with"),
    ),
    "rules": (("routine_wide.csv", "what the consistency rules say of each series"),),
    "report": (("programme_long.csv --out report.html", "everything in one file"),),
}


def epilog(command: str, kind: str = "") -> str | None:
    """The examples of a command, or of one kind of it, as the end of its help; None where there are none."""
    known = [e for e in EXAMPLES.get(command, ()) if not kind or e[0].split()[0] == kind]
    if not known:
        return None
    lines = [f"  gapshift {command} {words}".rstrip() + f"\n      {asked}" for words, asked in known]
    return "\n".join(["example:" if len(lines) == 1 else "examples:", *lines])


def kinds_of(parser: Any, command: str, dest: str) -> Any:
    """Room for the kinds of a command: ``add_kind(name, help)`` gives the parser of each, its examples at its end."""
    made = parser.add_subparsers(dest="kind", metavar=dest, required=True, parser_class=type(parser))
    parser.commands = made.choices

    def add_kind(name: str, text: str, description: str = "") -> Any:
        return made.add_parser(
            name, help=text, description=description or text, epilog=epilog(command, name),
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )  # fmt: skip

    return add_kind
