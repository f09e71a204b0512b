"""When a reading is believed: fully, with more noise than usual, not at all, or as news that the level has jumped."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from service.science.smoother import Verdict

Values = NDArray[np.float64]
Flags = NDArray[np.bool_]
Lanes = NDArray[np.intp]

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
        self.has_notes = np.zeros(lanes, dtype=np.bool_)
        """Whether a reading was set aside in a lane, for good or until a jump explained it."""
        self._waits_since = np.full(lanes, -1)
        self._waiting_residual = np.zeros(lanes)
        self._waiting_variance = np.zeros(lanes)

    def judge(
        self, node: int, residual: Values, predicted_variance: Values, reading_variance: Values, has_reading: Flags
    ) -> Verdict:
        """The verdict on the reading at this node, per lane."""
        total = predicted_variance + reading_variance
        squared = residual**2 / total
        far = (squared > NOISIER_BEYOND_SD**2) & has_reading
        if not far.any():
            np.copyto(self._waits_since, -1, where=has_reading)
            return Verdict(reading_variance, has_reading, None, 0.5 * squared)
        self.score[node] = residual / np.sqrt(total)
        # Of many lanes few are far: only those are looked at, by their numbers, which is quickest.
        lanes = np.flatnonzero(far)
        variance, is_used, loss = _full(reading_variance, far), _full(has_reading, far), 0.5 * squared
        size, apart = np.sqrt(squared.ravel()[lanes]), residual.ravel()[lanes]
        whole, noise = total.ravel()[lanes], variance.ravel()[lanes]
        jumped = self._agrees(lanes, apart, noise)
        aside = (size > SET_ASIDE_BEYOND_SD) & ~jumped
        self.is_aside[node].ravel()[lanes] = aside
        jump = self._note_jump(lanes[jumped], apart[jumped], (whole - noise)[jumped], noise[jumped])
        np.copyto(self._waits_since, -1, where=has_reading)
        self._remember(node, lanes[aside], apart[aside], noise[aside])
        # Huber: the weight of the residual falls as 1 / size, so the variance of the whole grows as size.
        inflated = whole * size / NOISIER_BEYOND_SD - (whole - noise)
        variance.ravel()[lanes] = np.where(jumped, noise, inflated)
        is_used.ravel()[lanes] = ~aside
        loss.ravel()[lanes] = NOISIER_BEYOND_SD * (np.minimum(size, SET_ASIDE_BEYOND_SD) - 0.5 * NOISIER_BEYOND_SD)
        return Verdict(variance, is_used, jump, loss)

    def _agrees(self, lanes: Lanes, residual: Values, reading_variance: Values) -> Flags:
        """Whether the reading before was set aside for the same reason: the same difference within both their noise."""
        apart = np.abs(residual - self._waiting_residual.ravel()[lanes])
        noise = reading_variance + self._waiting_variance.ravel()[lanes]
        return np.asarray((self._waits_since.ravel()[lanes] >= 0) & (apart < NOISIER_BEYOND_SD * np.sqrt(noise)))

    def _note_jump(
        self, lanes: Lanes, residual: Values, predicted_variance: Values, reading_variance: Values
    ) -> Values | None:
        """By how much the level may have jumped, of all lanes; None where none did.

        It is noted under the node of the first of the two readings, which thereby is no longer set aside.
        """
        if not len(lanes):
            return None
        first = (self._waits_since.ravel()[lanes], *np.unravel_index(lanes, self._waits_since.shape))
        self.is_aside[first] = False
        self.jump[first] = 0.5 * (residual + self._waiting_residual.ravel()[lanes])
        waiting = self._waiting_variance.ravel()[lanes]
        self.jump_variance[first] = predicted_variance + 0.25 * (reading_variance + waiting)
        free = np.zeros(self._waits_since.shape)
        free.ravel()[lanes] = (JUMP_WIDTH * residual) ** 2
        return free

    def _remember(self, node: int, lanes: Lanes, residual: Values, reading_variance: Values) -> None:
        """The next reading decides about this one; a lane without a reading there keeps waiting."""
        self.has_notes.ravel()[lanes] = True
        self._waits_since.ravel()[lanes] = node
        self._waiting_residual.ravel()[lanes] = residual
        self._waiting_variance.ravel()[lanes] = reading_variance


def _full(of: NDArray[Any], like: Flags) -> NDArray[Any]:
    """An array of its own with an entry for each lane."""
    return np.broadcast_to(of, like.shape).copy()
