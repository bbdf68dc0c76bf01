"""The caution that stands under every page, and the long list behind it."""

from __future__ import annotations

from typing import Any

from dashboard import parts

SHORT = (
    "This software analyses numbers. It does not control, interlock or approve any high-voltage test. Breakdown "
    "testing is done only by trained, authorised people following their site's rules and the current standard."
)

LONG: tuple[tuple[str, str], ...] = (
    ("High voltage kills.", "Test sets reach tens of kilovolts, and stored energy and induced charge remain after "
     "switch-off. Work only with an interlocked, earthed enclosure whose lid removes and earths the supply; never "
     "defeat an interlock; earth the electrodes with a rod before touching the cell; one person in charge, a second "
     "within call."),
    ("Earthing first, last off.", "Verify the set's protective earth before connecting mains. No extension leads "
     "without an earth. Keep bystanders and unrelated instruments out of the marked area."),
    ("Qualified people.", "Local law may require licensed electrical workers or a permit to work. People with "
     "implanted cardiac devices should follow medical and site advice."),
    ("Fire.", "Mineral oil burns, and solvent vapour more so. Arcs ignite solvent: dry the cell fully before "
     "energising, no open solvent near the set, ventilation, a suitable extinguisher, no smoking."),
    ("Pressure, gas and heat.", "Repeated arcs make gas and carbon; do not seal the cell gas-tight; let it vent; "
     "expect warm oil from equipment."),
    ("Toxic or regulated liquid.", "Old oil may contain PCBs: treat unknown samples as suspect until tested, keep "
     "them apart and labelled, share no glassware, follow national rules. Used oil may carry carbon, metals, furans, "
     "corrosive sulfur and aromatic compounds; avoid skin contact and mist."),
    ("Protective equipment.", "Safety glasses, oil-resistant gloves, coat, closed shoes; change soaked clothing."),
    ("Spills and waste.", "Tray under the cell, absorbent at hand, no drains. Waste oil, rags and solvent go to "
     "licensed disposal, natural esters too; rags with drying oils can heat by themselves."),
    ("Sampling on live plant", "is a separate hazardous job with negative pressure, bubbles and clearances: utility "
     "procedures only."),
    ("Decisions.", "A passing breakdown voltage does not prove that equipment is safe to energise, and a high value "
     "does not show absence of contaminants (ASTM D877-19 and D1816-04, clauses 3.2 and 3.1). Do not energise, scrap "
     "or process plant on this tool alone."),
)  # fmt: skip


def footer() -> Any:
    """The standing footer."""
    items = "".join(f"<li><b>{parts.escaped(lead)}</b> {parts.escaped(text)}</li>" for lead, text in LONG)
    return parts.raw(
        f'<footer><p class="hint">{parts.escaped(SHORT)}</p>'
        f'<details class="hint"><summary>All cautions</summary><ul>{items}</ul></details></footer>',
        styles={"border-top": "1px solid var(--rule)", "padding-top": "12px"},
    )
