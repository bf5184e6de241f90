"""Compares the load on the bar with the mount's working load, and warns where it comes near."""

from __future__ import annotations

import logging

import numpy as np

from monitor.measures.picture import Picture
from monitor.rig import Rig

_log = logging.getLogger(__name__)

NEAR = 0.8
"""From this share of the working load on a warning is given (common practice, no source)."""

SHOWN_s = 600.0
"""A warning stays for so long after the load, until somebody comes by (common practice, no source)."""

SAME_EVENT_s = 5.0
"""Heavy loads closer together than this are one event (common practice, no source)."""


class MountWatch:
    """Takes pictures and remembers the newest heavy load; one rig, one thread.

    Parameters
    ----------
    rig : Rig
        Without ``mount_rating_N``, or without a bar, nothing can be said.
    """

    def __init__(self, rig: Rig) -> None:
        self._rating_N = rig.mount_rating_N
        self._names = {rig.names[i] for i in rig.bar_index}
        self._peak_N = 0.0
        self._peak_s: float | None = None
        self._now_s = 0.0

    def see(self, picture: Picture) -> None:
        """Take a picture; its single readings show a peak better than their mean."""
        self._now_s = picture.t_s
        if self._rating_N is None or not self._names:
            return
        load_N = self._load_N(picture)
        if load_N is None or load_N < NEAR * self._rating_N:
            return
        again = self._peak_s is not None and 0 <= picture.t_s - self._peak_s < SAME_EVENT_s
        if not again or load_N > self._peak_N:
            grown = not again or (self._peak_N <= self._rating_N < load_N)
            self._peak_N = load_N
            if grown:
                _log.warning("%s", self._words())
        self._peak_s = picture.t_s

    def _load_N(self, picture: Picture) -> float | None:
        columns = [i for i, name in enumerate(picture.curve_names) if name in self._names]
        if columns and picture.curve_N is not None and len(picture.curve_N):
            # The median of three, so that one wild reading is no load; a sum with a missing cell is unknown.
            total = np.asarray(picture.curve_N, dtype=np.float64)[:, columns].sum(axis=1)
            total = total[~np.isnan(total)]
            if len(total) >= 3:
                top_N = float(total.max())
                if self._rating_N is None or top_N < NEAR * self._rating_N:
                    return top_N  # no median of three lies higher, so nothing is near
                return float(np.median(np.lib.stride_tricks.sliding_window_view(total, 3), axis=1).max())
        return picture.bar_N

    def warnings(self) -> list[str]:
        """Return the warnings for every screen."""
        if self._peak_s is None or not 0 <= self._now_s - self._peak_s <= SHOWN_s:
            return []
        return [self._words()]

    def _words(self) -> str:
        assert self._rating_N is not None
        share = self._peak_N / self._rating_N
        if share > 1:
            return (
                f"The bar carried {self._peak_N:.0f} N: more than the mount's working load of {self._rating_N:.0f} N. "
                "Stop using it and have the mount looked at by a qualified person."
            )
        return (
            f"The bar carried {self._peak_N:.0f} N, {100 * share:.0f} % of the mount's working load of "
            f"{self._rating_N:.0f} N. "
            "No jumping, swinging or second person."
        )
