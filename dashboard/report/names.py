"""Headings of the columns of a report's tables: those of the pages, and what only a report shows."""

from __future__ import annotations

from collections.abc import Mapping

from dashboard import words

_OWN: dict[str, str] = {
    "sha256": "SHA-256", "sheet": "Sheet", "encoding": "Encoding", "delimiter": "Delimiter", "layout": "Layout",
    "rows_read": "Readings found", "refused": "Refused", "left_out": "Left out", "kept": "Kept levels",
    "what": "What", "guess": "Taken as", "evidence": "Because", "option": "Overruled by",
    "difference_kv": "Shift (kV)", "difference_percent": "Shift (%)", "low_percent": "Low (%)",
    "high_percent": "High (%)", "reference_mean_kv": "Reference mean (kV)", "reference_fillings": "Reference fillings",
    "sd_ratio": "SD ratio", "sd_ratio_low": "Low", "sd_ratio_high": "High", "sd_p_value": "p",
    "sd_ratio_of": "Scatter compared", "samples": "Samples", "aicc": "AICc", "log_likelihood": "Log-likelihood",
    "anderson_darling_p": "Anderson-Darling p", "parameters": "Parameters", "percentile": "Percentile",
    "standard_error_kv": "Standard error (kV)", "effective_breakdowns": "Worth (independent breakdowns)",
    "df": "Degrees of freedom", "percent": "%", "reference_kv": "Reference (kV)",
    "half_width": "± (kV)", "half_width_percent": "± (%)", "half_width_known_percent": "± if scatter is known (%)",
    "bench_minutes": "Bench (min)", "breakdowns_per_filling": "Breakdowns a filling", "scatter": "Scatter taken",
    "reported_mean_kv": "To report (kV)", "value": "Found", "limit": "Limit", "unit": "Unit", "judged": "Judged",
    "fired": "Asked for more", "rate": "Share", "short": "Too short", "series": "Series", "protocol": "Protocol",
    "verdict": "Verdict", "expanded_uncertainty_kv": "± (kV)", "probability_above": "Probability above the limit",
    "wrong_verdict_probability": "Verdict wrong", "laboratories": "Laboratories", "mean": "Mean",
    "s_r": "s_r", "s_L": "s_L", "s_R": "s_R", "r": "r", "R": "R", "r_percent": "r (%)", "R_percent": "R (%)",
    "s_r_low": "Low", "s_r_high": "High", "s_R_low": "Low", "s_R_high": "High", "h": "h", "k": "k", "z": "z",
    "name": "Test", "effect": "Effect", "statistic": "Statistic", "expected": "Expected", "p": "p",
    "setting": "Setting", "program": "Program", "version": "Version", "p_value": "p",
}  # fmt: skip


def heading(column: str, own: Mapping[str, str] | None = None) -> str:
    """What stands above a column."""
    return (own or {}).get(column) or _OWN.get(column) or words.heading(column)
