"""The cautions of the trade: one text for the foot of every page, the report and its workbook."""

from __future__ import annotations

SHORT = (
    "This software analyses numbers. It does not control, interlock or approve any high-voltage test. Breakdown "
    "testing is done only by trained, authorised people following their site's rules and the current standard."
)

#: What each caution is about, and what it says. Common practice, no source, unless a source stands in it.
LONG: tuple[tuple[str, str], ...] = (
    ("High voltage kills.", "Test sets reach tens of kilovolts, and stored energy and induced charge remain after "
     "switch-off. Work only with an interlocked, earthed enclosure whose lid removes and earths the supply; never "
     "defeat an interlock; earth the electrodes with a rod before touching the cell. An emergency stop that cuts the "
     "supply is within reach, and everybody present knows it."),
    ("Never alone.", "One person is in charge; a second, within sight or call, can cut the supply, call help, and give "
     "first aid and resuscitation. Cut the supply before touching anybody."),
    ("Earth first, last off.", "Verify the set's protective earth before connecting mains. No extension leads "
     "without an earth. Keep bystanders and unrelated instruments out of the marked area."),
    ("Qualified people.", "Local law may require licensed electrical workers or a permit to work. People with "
     "implanted cardiac devices should follow medical and site advice."),
    ("PCB first.", "Never break down oil that is suspected of PCB before it has been tested for it: arcs make "
     "dibenzofurans and hydrogen chloride of it, far more harmful than the oil. Treat old and unknown samples as "
     "suspect until tested, keep them apart and labelled, share no glassware, follow national rules."),
    ("Fire.", "Mineral oil burns, and solvent vapour more so. Arcs ignite solvent: dry the cell fully before "
     "energising, no open solvent near the set, ventilation, a suitable extinguisher, no smoking. Do not break down a "
     "sample with a low flash point, or one with fuel or solvent in it: its vapour over the cell can ignite."),
    ("Static.", "Oil that is poured, pumped or filtered charges itself and its vessel. Pour slowly along the wall, "
     "bond metal vessels to each other and to earth, keep solvent away."),
    ("Pressure, gas and heat.", "Repeated arcs make gas and carbon; do not seal the cell gas-tight; let it vent; "
     "expect warm oil from equipment."),
    ("Toxic liquid.", "Used oil may carry carbon, metals, furans, corrosive sulfur and aromatic compounds; avoid skin "
     "contact and mist."),
    ("Protective equipment.", "Safety glasses, oil-resistant gloves, coat, closed shoes; change soaked clothing."),
    ("Spills and waste.", "Tray under the cell, absorbent at hand, no drains. Waste oil, rags and solvent go to "
     "licensed disposal, natural esters too; rags with drying oils can heat by themselves."),
    ("Sampling on live plant", "is a separate hazardous job with negative pressure, bubbles and clearances: utility "
     "procedures only."),
    ("Decisions.", "A passing breakdown voltage does not prove that equipment is safe to energise, and a high value "
     "does not show absence of contaminants (ASTM D877-19 and D1816-04, clauses 3.2 and 3.1). Do not energise, scrap "
     "or process plant on this tool alone."),
    ("What binds.", "Local rules and law, the current standard and qualified people on the site come before anything "
     "that stands here."),
)  # fmt: skip
