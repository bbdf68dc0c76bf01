"""Contrast is computed, not believed: WCAG 2.2, relative luminance and contrast ratio (published: W3C)."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from dashboard import theme


def _linear(colour: str) -> np.ndarray:
    c = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def contrast(a: str, b: str) -> float:
    light, dark = sorted((float(_linear(c) @ [0.2126, 0.7152, 0.0722]) for c in (a, b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_black_on_white_is_21_to_1() -> None:
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)


PALETTES = {"light": theme.LIGHT, "dark": theme.DARK}


@pytest.mark.parametrize("palette", PALETTES.values(), ids=PALETTES.keys())
def test_text_reaches_four_and_a_half(palette: theme.Palette) -> None:
    for name in ("ink", "muted", "primary", "good", "caution", "wrong"):
        for ground in (palette.surface, palette.ground):
            assert contrast(getattr(palette, name), ground) >= 4.5, (name, ground)
    assert contrast(palette.on_bar, palette.bar) >= 4.5
    assert contrast(palette.on_primary, palette.primary) >= 4.5


@pytest.mark.parametrize("palette", PALETTES.values(), ids=PALETTES.keys())
def test_marks_and_axes_reach_three(palette: theme.Palette) -> None:
    for colour in (*palette.marks, palette.line):
        assert contrast(colour, palette.surface) >= 3, colour


# Simulation of colour blindness at full severity, on linear RGB; published: Machado, Oliveira & Fernandes,
# IEEE TVCG 15 (2009) 1291, table 1.
SIGHT = {
    "normal": np.eye(3),
    "protan": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deutan": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritan": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])


def _lab(linear: np.ndarray) -> np.ndarray:
    t = _XYZ @ np.clip(linear, 0, 1) / np.array([0.95047, 1, 1.08883])
    f = np.where(t > 0.008856, np.cbrt(t), 7.787 * t + 16 / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("sight", SIGHT)
@pytest.mark.parametrize("palette", PALETTES.values(), ids=PALETTES.keys())
def test_any_two_marks_differ_for_everybody(palette: theme.Palette, sight: str) -> None:
    seen = [_lab(SIGHT[sight] @ _linear(c)) for c in palette.marks]
    assert min(np.linalg.norm(a - b) for a, b in itertools.combinations(seen, 2)) >= 20


def test_a_level_keeps_its_look_when_others_are_filtered_away() -> None:
    everything = ["disk", "mushroom", "spherical"]
    before = theme.cues(everything)
    assert theme.cues(everything, dark=True)["spherical"].dash == before["spherical"].dash
    assert len({c.colour for c in before.values()}) == len({c.dash for c in before.values()}) == 3


@pytest.mark.parametrize("dark", [False, True])
def test_no_colour_dash_or_marker_repeats_among_twelve_levels_and_no_look_among_a_hundred(dark: bool) -> None:
    looks = list(theme.cues([str(i) for i in range(100)], dark).values())
    for part in ("colour", "dash", "marker"):
        assert len({getattr(c, part) for c in looks[:12]}) == 12
    assert len({(c.colour, c.dash) for c in looks}) == len({(c.colour, c.marker) for c in looks}) == 100
    assert theme.WITHSTOOD_MARKER not in {c.marker for c in looks}


def test_every_look_is_drawn_by_bokeh_on_paper_and_in_the_legend() -> None:
    from pathlib import Path

    from bokeh.models.glyphs import Line, Scatter

    from dashboard.plots import printed

    script = (Path(theme.__file__).parent / "legend.js").read_text()
    for marker in (*theme.MARKERS, theme.WITHSTOOD_MARKER):
        assert Scatter(marker=marker).marker == marker
        assert marker in printed.MARKERS and f"{marker}: " in script
    for dash in theme.DASHES:
        assert Line(line_dash=dash).line_dash is not None
        assert printed.dashes(dash) == "-" if dash == "solid" else len(printed.dashes(dash)[1]) % 2 == 0


def test_a_plot_of_the_dark_theme_has_the_light_ones_colours_on_paper() -> None:
    assert [theme.on_paper(c) for c in theme.DARK.marks] == list(theme.LIGHT.marks)
    assert theme.on_paper(theme.DARK.caution) == theme.LIGHT.caution
    assert theme.on_paper(theme.LIGHT.ink) == theme.LIGHT.ink
    drawn = [theme.LIGHT.ink, *theme.LIGHT.marks]
    assert all(contrast(c, "#FFFFFF") >= 3 for c in drawn)


def test_the_plot_hook_sets_both_themes_and_probability_ticks() -> None:
    from dashboard.plots.layers import Drawing, Plot
    from dashboard.plots.marks import line
    from dashboard.plots.patched import Patched

    for dark in (False, True):
        drawing = Drawing([Plot([line([0, 1, 2], [1, 2, 3], theme.LIGHT.ink)])])
        (figure,) = Patched(drawing, dark=dark, height=300, ticks=[(1.5, "50 %")]).figures
        assert figure.background_fill_color == theme.palette(dark).surface
        assert figure.yaxis[0].ticker.ticks == [1.5]
        assert figure.yaxis[0].major_label_overrides == {1.5: "50 %"}
        assert figure.output_backend == "canvas"


def test_no_colour_is_named_outside_the_theme() -> None:
    import re
    from pathlib import Path

    folder = Path(theme.__file__).parent
    files = [f for ending in ("py", "html", "js", "css") for f in folder.rglob(f"*.{ending}") if "docs" not in f.parts]
    assert {"document.html", "login.html", "legend.js", "part_styles.py"} <= {f.name for f in files}
    for file in files:
        if file.name != "theme.py":
            text = file.read_text(encoding="utf-8")
            found = re.findall(r"(?<!&)#[0-9A-Fa-f]{6}\b|(?<!&)#[0-9A-Fa-f]{3}\b(?![0-9A-Za-z])", text)
            assert not found, (file.name, found)


def test_what_is_told_over_the_page_reaches_four_and_a_half() -> None:
    assert contrast(theme.LIGHT.on_bar, theme.LIGHT.wrong) >= 4.5
