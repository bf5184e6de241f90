"""The live view against the truth: how soon a hold is shown, how soon it is sure, and whether none is made up."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.measures.picture import Picture
from tests.accuracy.comparison import NOTHING, Deviation, hung
from tests.physics.truth import Truth

NEAR_s = 0.5
"""A clock whose onset is that near to a true one shows that hold."""


def compare_live(truth: Truth, pictures: Sequence[Picture]) -> list[Deviation]:
    """Return the errors of the pictures that a screen would have shown of one session."""
    deviations, onsets = [], [hold["onset_half_s"] for hold in truth["holds"]]
    running = [p for p in pictures if p.hold is not None and not p.hold.ended]
    for onset in onsets:
        own = [p for p in running if p.hold is not None and abs(p.hold.onset_s - onset) < NEAR_s]
        sure = [p for p in own if p.hold is not None and not p.hold.provisional]
        deviations.append(Deviation("hold on the live page", own[0].t_s - onset if own else NOTHING))
        deviations.append(Deviation("hold sure on the live page", sure[0].t_s - onset if sure else NOTHING))
        if sure and sure[0].hold is not None:
            deviations.append(Deviation("live onset", 1e3 * abs(sure[0].hold.onset_s - onset)))
    statements: dict[int, tuple[float, float]] = {}
    for p in running:
        if p.hold is not None and not p.hold.provisional and all(abs(p.hold.onset_s - o) >= NEAR_s for o in onsets):
            statements[round(p.hold.onset_s)] = (p.hold.onset_s, p.t_s)
    made_up = [span for span in statements.values() if not hung(truth, span)]
    deviations.append(Deviation("hold invented on the live page", len(made_up), len(pictures) / 20.0))
    return deviations
