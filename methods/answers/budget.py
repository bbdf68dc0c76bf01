"""What is the mean uncertain by, and from what?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from methods.answers.heads import OWN
from methods.answers.model import Answer, Table
from methods.planning.uncertainty import Budget

QUESTION = "decision"


def budget(found: Budget) -> Answer:
    """The expanded uncertainty, and a row for each source."""
    sources = found.table().replace({np.inf: np.nan, -np.inf: np.nan})
    table = Table("budget", "What each source adds", pd.DataFrame(sources), "", OWN.get(QUESTION, {}))
    return Answer(QUESTION, (found.sentence,), tuple(found.cautions), (table,), (), found)
