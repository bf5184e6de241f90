"""What is asked of each measure: the floor that must hold and the aim, as the project set them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

Kind = Literal["median and largest", "largest", "rms", "share", "per 10 minutes", "95 %"]


@dataclass(frozen=True, slots=True)
class Limit:
    """Unit, floor and aim of a measure, and which figure of its errors is held against them."""

    unit: str
    floor: float
    aim: float
    kind: Kind = "largest"


LIMITS: dict[str, Limit] = {
    "hold missed": Limit("share", 0, 0, "share"),
    "hold invented": Limit("number", 0, 0),
    "onset": Limit("ms", 25, 3),
    "release": Limit("ms", 25, 3),
    "bodyweight": Limit("%", 0.15, 0.05),
    "assistance": Limit("points", 0.2, 0.05),
    "assistance by the second": Limit("points", 0.3, 0.05),
    "bar's share": Limit("points", 0.3, 0.1),
    "hold on the live page": Limit("s", 1.2, 0.3),
    "hold sure on the live page": Limit("s", 1.2, 1.2),
    "hold invented on the live page": Limit("number", 0, 0),
    "touch missed": Limit("share", 0, 0, "share"),
    "touch invented": Limit("number", 0, 0),
    "touch's edges": Limit("ms", 30, 2),
    "touch's impulse": Limit("%", 5, 1),
    "third support missed": Limit("share", 0, 0, "share"),
    "third support invented": Limit("number", 0, 0),
    "third support": Limit("points", 1.0, 0.1),
    "third support's edges": Limit("s", 0.3, 0.1),
    "swing from 2 degrees": Limit("degrees", 0.3, 0.07),
    "swing 1 to 2 degrees": Limit("degrees", 0.4, 0.15),
    "swing invented": Limit("share", 0, 0, "share"),
    "swing frequency": Limit("mHz", 5, 1),
    "travel": Limit("mm", 5, 1, "rms"),
    "pull missed": Limit("share", 0.05, 0, "share"),
    "pull invented": Limit("per 10 min", 2, 0.5, "per 10 minutes"),
    "travel (swing)": Limit("mm", 8, 2, "rms"),
    "state wrong": Limit("% of time", 5, 1),
    "change of hands missed": Limit("share", 0.05, 0, "share"),
    "change of hands invented": Limit("number", 0, 0),
    "change of hands": Limit("ms", 100, 12),
    "tremor": Limit("%", 5, 1),
    "loading rate": Limit("%", 2, 0.5),
    "peak": Limit("%", 1, 0.2),
    "settling time": Limit("s", 0.3, 0.1),
}


def figure(limit: Limit, errors: np.ndarray, exposure_s: float = 0.0) -> float:
    """Return the figure that is held against a limit."""
    if limit.kind == "rms":
        return float(np.sqrt(np.mean(np.square(errors))))
    if limit.kind == "share":
        return float(np.mean(errors))
    if limit.kind == "per 10 minutes":
        return float(errors.sum() * 600.0 / exposure_s) if exposure_s else float(errors.sum())
    return float(errors.max())
