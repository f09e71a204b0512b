"""When a reading is believed: fully, with more noise than usual, not at all, or as news that the level has jumped."""

import numpy as np
from numpy.typing import NDArray

from service.science.smoother import Verdict

Values = NDArray[np.float64]
Flags = NDArray[np.bool_]

NOISIER_BEYOND_SD = 2.5
SET_ASIDE_BEYOND_SD = 4.0
JUMP_WIDTH = 3.0
"""An accepted jump may be this many times what was seen of it: wide enough to leave its size to the reading."""


class Gate:
    """Judges readings one after the other in all lanes, and keeps a note of each verdict by node.

    Within 2.5 sd of what was expected a reading counts in full; beyond, its noise is inflated so that its pull grows
    no further (Huber's rule); beyond 4 sd it is set aside. When the next reading is beyond 2.5 sd on the same side and
    the two agree within their noise, the level has jumped: the jump is accepted and neither reading was wrong.

    Huber 1964, Ann. Math. Stat. 35, 73, for the middle part; the rest is the service's own rule.
    """

    def __init__(self, nodes: int, lanes: tuple[int, ...]) -> None:
        self.score = np.zeros((nodes, *lanes), dtype=np.float32)
        self.is_aside = np.zeros((nodes, *lanes), dtype=np.bool_)
        self.jump = np.zeros((nodes, *lanes))
        self.jump_variance = np.zeros((nodes, *lanes))
        self._waits_since = np.full(lanes, -1)
        self._waiting_residual = np.zeros(lanes)
        self._waiting_variance = np.zeros(lanes)

    def judge(
        self, node: int, residual: Values, predicted_variance: Values, reading_variance: Values, has_reading: Flags
    ) -> Verdict:
        """The verdict on the reading at this node, per lane."""
        total = predicted_variance + reading_variance
        spread = np.sqrt(total)
        size = np.abs(residual) / spread
        far = (size > NOISIER_BEYOND_SD) & has_reading
        capped = np.minimum(size, SET_ASIDE_BEYOND_SD)
        loss = np.where(far, NOISIER_BEYOND_SD * (capped - 0.5 * NOISIER_BEYOND_SD), 0.5 * size**2)
        log_density = -loss - 0.5 * np.log(2.0 * np.pi * total)
        if not far.any():
            self._waits_since = np.where(has_reading, -1, self._waits_since)
            return Verdict(reading_variance, has_reading, None, log_density)
        self.score[node] = residual / spread
        jumped = far & self._agrees(residual, reading_variance)
        aside = far & (size > SET_ASIDE_BEYOND_SD) & ~jumped
        self.is_aside[node] = aside
        self._note_jump(jumped, residual, predicted_variance, reading_variance)
        self._remember(node, aside, has_reading, residual, reading_variance)
        # Huber: the weight of the residual falls as 1 / size, so the variance of the whole grows as size.
        inflated = total * np.maximum(size / NOISIER_BEYOND_SD, 1.0) - predicted_variance
        return Verdict(
            variance=np.where(jumped, reading_variance, inflated),
            is_used=has_reading & ~aside,
            jump_variance=np.where(jumped, (JUMP_WIDTH * residual) ** 2, 0.0),
            log_density=log_density,
        )

    def _agrees(self, residual: Values, reading_variance: Values) -> Flags:
        """Whether the reading before was set aside for the same reason: the same difference within both their noise."""
        apart = np.abs(residual - self._waiting_residual)
        noise = reading_variance + self._waiting_variance
        return (self._waits_since >= 0) & (apart < NOISIER_BEYOND_SD * np.sqrt(noise))

    def _note_jump(self, jumped: Flags, residual: Values, predicted_variance: Values, reading_variance: Values) -> None:
        """Under the node of the first of the two readings, which thereby is no longer set aside."""
        lanes = np.nonzero(jumped)
        first = (self._waits_since[lanes], *lanes)
        self.is_aside[first] = False
        self.jump[first] = 0.5 * (residual + self._waiting_residual)[lanes]
        spread = predicted_variance + 0.25 * (reading_variance + self._waiting_variance)
        self.jump_variance[first] = spread[lanes]

    def _remember(
        self, node: int, aside: Flags, has_reading: Flags, residual: Values, reading_variance: Values
    ) -> None:
        """The next reading decides about this one; a lane without a reading here keeps waiting."""
        self._waits_since = np.where(aside, node, np.where(has_reading, -1, self._waits_since))
        self._waiting_residual = np.where(aside, residual, self._waiting_residual)
        self._waiting_variance = np.where(aside, reading_variance, self._waiting_variance)
