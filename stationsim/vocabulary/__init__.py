"""Every word that stationsim says of a run: what it means, its unit, who could have noticed it.

Tables, sentences, plots, ``stationsim explain`` and the reference page all take their words from
here, so one thing has one name everywhere. A test compares what runs emit with this list.

Kinds of words: ``event``, ``cause``, ``alarm``, ``role``, ``metric``, ``criterion``, ``table``,
``column``, ``state`` (of a source of power), ``task`` and ``outcome`` (of people) and ``word`` (a
term of the trade). A cause or an outcome may carry more behind it (``level at lead start 1.50 m``);
what stands here is how it begins.
"""

from stationsim.vocabulary.columns import COLUMNS, TABLES
from stationsim.vocabulary.crew import OUTCOMES, TASKS
from stationsim.vocabulary.entry import Entry, Kind, Seen
from stationsim.vocabulary.lookup import (
    ENTRIES,
    cause_of,
    lookup,
    lookup_all,
    nearest,
    seen_by,
    state_seen_by,
)
from stationsim.vocabulary.measures import (
    COMPARED_METRICS,
    CRITERIA,
    DRILL_METRICS,
    METRICS,
)
from stationsim.vocabulary.runs import ALARMS, CAUSES, EVENTS, ROLES, STATES
from stationsim.vocabulary.terms import WORDS

__all__ = [
    "ALARMS",
    "CAUSES",
    "COLUMNS",
    "COMPARED_METRICS",
    "CRITERIA",
    "DRILL_METRICS",
    "ENTRIES",
    "EVENTS",
    "METRICS",
    "OUTCOMES",
    "ROLES",
    "STATES",
    "TABLES",
    "TASKS",
    "WORDS",
    "Entry",
    "Kind",
    "Seen",
    "cause_of",
    "lookup",
    "lookup_all",
    "nearest",
    "seen_by",
    "state_seen_by",
]
