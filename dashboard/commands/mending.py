"""Which option of a command mends what a function of ``methods`` refused: those know no command line."""

from __future__ import annotations

from methods.errors import InputError, one_line

#: What a refusal lacks (:class:`methods.InputError`) -> the options that say it.
OPTIONS: dict[str, str] = {
    "limit_method": "--limit-method TEXT",
    "limit": "'gapshift limits' lists the keys",
    "two_levels": "--first LEVEL --second LEVEL",
    "laboratory": "--laboratory COLUMN",
    "half_width": "--half-width 10%; or --fillings K --breakdowns-per-filling N",
    "procedures": "--only PROCEDURE, where it was given, leaves the others out",
    "archive": "--archive FILE",
    "criterion": "--weight CRITERION=WEIGHT",
}


def with_option(error: InputError) -> str:
    """The refusal on one line, the options that mend it behind it; as it is where it names one, or none is known."""
    text = one_line(error, 2_000)
    said = OPTIONS.get(error.lacks)
    return f"{text} ({said})" if said and "--" not in text else text
