"""Which events a `TakenBack` takes back. They stay in the journal, and every fold passes over them.

Each is named by its check sum and looked for from the newest on, so that a journal reads the same when
it was carried into another, where all ids are different, or when some of it was lost. The
setting of others (a round, a take, the start of a session) is never taken back: it can be ended.
"""

from __future__ import annotations

import itertools
from collections import Counter
from typing import TYPE_CHECKING

from rounds.event_fields import stored_kind
from rounds.journal.schema import SETTING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from rounds.events import Event, TakenBack

MOST_BACK = 20_000
"""No further back is looked: what is not found there was lost, or stayed in another journal."""


def can_be_taken_back(event: Event) -> bool:
    """Whether folds may pass over it."""
    return stored_kind(event) not in SETTING


def resolved(
    taken: Iterable[tuple[int, TakenBack]], sums_before: Callable[[int], Iterable[tuple[int, int]]]
) -> frozenset[int]:
    """Ids of what was taken back.

    Args:
        taken: the `TakenBack` events with their ids, oldest first.
        sums_before: id and check sum of what can be taken back before an id, newest first.
    """
    gone: set[int] = set()
    for number, event in taken:
        left, wanted = Counter(event.sums), len(event.sums)
        for other, check_sum in itertools.islice(sums_before(number), MOST_BACK):
            if not wanted:
                break
            if left[check_sum] and other not in gone:
                left[check_sum] -= 1
                wanted -= 1
                gone.add(other)
    return frozenset(gone)
