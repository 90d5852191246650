"""What the heats of each part taught, as pages and commands ask for it."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from typing import Any

from service.judge.utc import utc_text
from service.procedure.learnt_words import learnt_json
from service.procedure.lessons import Learnt, Quantity
from service.records.repeat import Repeat, of_today, repeat_of
from service.records.scores import summed
from service.records.teaching import Teaching
from service.store.errors import StoreError

SCORED_HEATS = 10
Said = Callable[[int], tuple[float, Mapping[str, Any] | None]]


class LessonsShelf:
    """Of one database; may be asked from several threads.

    Args:
        teaching: What each heat taught.
        said: What was said at any moment of a heat: how much is worked out, and all of it.
    """

    def __init__(self, teaching: Teaching, said: Said) -> None:
        self.teaching, self._said = teaching, said
        self._scores: dict[int, list[Mapping[str, Any]]] = {}
        self._lock = threading.Lock()

    def learnt(self, part_id: int) -> dict[str, Any]:
        """What a part's heats taught (``PartLearnt`` in openapi.json).

        Raises:
            PlanRefused: There is no such part.
            StoreError: The database cannot be read.
        """
        _, facts = of_today(self.teaching.store, part_id)
        taught = self.teaching.part(part_id)
        done, scores = self._scored(taught.heat_ids)
        return {
            "part_id": part_id,
            "heat_ids": list(taught.heat_ids),
            "learnt": [learnt_json(each, facts.metal) for each in taught.learnt.values()],
            "forgotten": [
                {"quantity": each.quantity, "at": utc_text(each.at_us), "by": each.by}
                for each in taught.forgotten
            ],
            "forecasts": {"done": done, "of_heats": SCORED_HEATS, "sums": summed(scores)},
        }

    def lessons(self, part_id: int) -> Mapping[Quantity, Learnt]:
        """The same for a plan."""
        of_today(self.teaching.store, part_id)
        return self.teaching.part(part_id).learnt

    def repeat(
        self, heat_id: int, *, oven_max_c: float, ambient_c: float, confidence: float, arc_w: float
    ) -> Repeat:
        """A heat once more; see ``service.records.repeat.repeat_of``."""
        return repeat_of(
            self.teaching, heat_id,
            oven_max_c=oven_max_c, ambient_c=ambient_c, confidence=confidence, arc_w=arc_w,
        )  # fmt: skip

    def _scored(self, heat_ids: tuple[int, ...]) -> tuple[float, list[Mapping[str, Any]]]:
        """The scores of the newest heats, one of them worked out further at each asking."""
        newest = heat_ids[-SCORED_HEATS:]
        with self._lock:
            missing = [each for each in newest if each not in self._scores]
            part_done = 0.0
            if missing:
                part_done = self._ask(missing[-1])
            left = [each for each in newest if each not in self._scores]
            done = 1.0 if not newest else (len(newest) - len(left) + part_done) / len(newest)
            return min(done, 1.0), [row for each in newest for row in self._scores.get(each, ())]

    def _ask(self, heat_id: int) -> float:
        try:
            done, answer = self._said(heat_id)
        except StoreError:
            self._scores[heat_id] = []  # it cannot be judged again: it tells nothing
            return 0.0
        if answer is None:
            return done
        self._scores[heat_id] = list(answer["scores"])
        return 0.0
