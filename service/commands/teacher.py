"""Tells the judge, whenever a heat is over, what the part's heats teach for its next one.

Lessons are worked out from the records, on a thread of their own: it takes tenths of a second a
heat, and the judge waits for nobody. What is told is an action in the journal, so that a replay
judges the next heat by the same.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable

from service.judge.actions import (
    Action,
    ChangePart,
    CorrectPass,
    CorrectPhase,
    EndHeat,
    ForgetLearnt,
    LearntTold,
    ServiceAction,
)
from service.judge.events import Outcome
from service.judge.judge import Judge
from service.judge.learnt_actions import LearntLoss, LearntVolume
from service.judge.learnt_rules import as_told
from service.procedure.lessons import Learnt
from service.procedure.loss_law import BARE_AT_C, usual_radiative_share
from service.records.teaching import PartTaught, Teaching
from service.store.errors import StoreError

log = logging.getLogger(__name__)

LOOKS_S = 0.5
"""How often it looks whether everything is committed [s, real]."""
PATIENCE_S = 30.0
TEACHING = (EndHeat, ForgetLearnt, ChangePart, CorrectPhase, CorrectPass)
LOWEST_C, HIGHEST_C = -50.0, 1400.0


def told_by(taught: PartTaught, metal: str) -> LearntTold:
    """What the judge is told of a part."""
    bare, volume = taught.learnt.get("loss bare"), taught.learnt.get("cavity volume")
    return LearntTold(
        part_id=taught.part_id,
        loss=None if bare is None else _loss(bare, metal),
        volume_l=None if volume is None else _volume(volume),
    )


def _loss(bare: Learnt, metal: str) -> LearntLoss:
    low_c, high_c = bare.believed_c()
    return LearntLoss(
        rate_k_s=bare.value.p50,
        at_c=BARE_AT_C,
        radiative_share=min(usual_radiative_share(metal), 1.0),
        low_c=max(low_c, LOWEST_C),
        high_c=min(high_c, HIGHEST_C),
        heats=len(bare.heat_ids),
    )


def _volume(volume: Learnt) -> LearntVolume | None:
    """The range of the next heat: what the next purge may meet."""
    if volume.next.p95 is None:
        return None
    return LearntVolume(p05=volume.next.p05, p50=volume.next.p50, p95=volume.next.p95)


class Teacher:
    """See the module.

    Args:
        teaching: The records' lessons.
        judge: Whose parts are looked at.
        tell: Puts an action into the order of everything.
        committed: Whether everything so far is in the database.
    """

    def __init__(
        self,
        teaching: Teaching,
        judge: Judge,
        tell: Callable[[ServiceAction], None],
        committed: Callable[[], bool],
    ) -> None:
        self._teaching, self._judge = teaching, judge
        self._tell, self._committed = tell, committed
        self._wake = threading.Event()
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run, name="teacher", daemon=True)

    def start(self) -> None:
        """Begin, with every part: a heat may have ended just before the last stop."""
        self._wake.set()
        self._thread.start()

    def stop(self, timeout_s: float) -> bool:
        """End; ``True`` when the thread has."""
        self._end.set()
        self._wake.set()
        if self._thread.is_alive():
            self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def done(self, action: Action) -> None:
        """Something was done that may change what the heats teach."""
        if isinstance(action, TEACHING):
            self._wake.set()

    def hear(self, outcome: Outcome) -> None:
        """A listener of the judge's: a heat that is over, however it was ended."""
        if any(each.phase == "none" for each in outcome.verdicts):
            self._wake.set()

    def _run(self) -> None:
        while not self._end.is_set():
            self._wake.wait()
            self._wake.clear()
            waited_s = 0.0
            while not self._committed() and waited_s < PATIENCE_S and not self._end.is_set():
                self._end.wait(LOOKS_S)
                waited_s += LOOKS_S
            for part in list(self._judge.shop.parts.values()):
                if self._end.is_set():
                    return
                try:
                    told = told_by(self._teaching.part(part.id), part.metal)
                except (StoreError, ValueError) as error:
                    log.warning("what the heats of %s taught is not known: %s", part.name, error)
                    continue
                if not as_told(part, told):
                    self._tell(told)
