"""Which option of a command mends what a function of ``methods`` refused: those know no command line."""

from __future__ import annotations

#: Part of a refusal -> the options that mend it.
OPTIONS: dict[str, str] = {
    "say for which method the limit is written": "--limit-method TEXT",
    "it must be a key of": "'gapshift limits' lists the keys",
    "say which two to compare": "--first LEVEL --second LEVEL",
    "name the column that does": "--laboratory COLUMN",
    "Give the half-width that is wanted": "--half-width 10%; or --fillings K --breakdowns-per-filling N",
    "no two procedures to choose between": "--only PROCEDURE, where it was given, leaves the others out",
    "There is no archive": "--archive FILE",
    "no criterion": "--weight CRITERION=WEIGHT",
}


def with_option(text: str) -> str:
    """The refusal with the options that mend it behind it; as it is where it names one, or none is known."""
    if "--" in text:
        return text
    said = next((option for part, option in OPTIONS.items() if part in text), "")
    return f"{text} ({said})" if said else text
