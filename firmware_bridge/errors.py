"""Errors that tell a person what happened, what it means and what to do."""

from __future__ import annotations

from typing import ClassVar


class TellableError(Exception):
    """A caller's or the surroundings' mistake, told in three sentences.

    The same triple reaches terminal, log, JSON and screen. Every subclass sets ``code``, a short stable name that
    ``docs/errors.md`` explains.

    Parameters
    ----------
    what : str
        What happened.
    means : str
        What it means for the measurement.
    do : str
        What to do next.
    """

    code: ClassVar[str] = "error"

    def __init__(self, what: str, means: str, do: str) -> None:
        super().__init__(what)
        self.what = what
        self.means = means
        self.do = do

    def __str__(self) -> str:
        return f"{self.what} {self.means} {self.do}"

    def as_dict(self) -> dict[str, str]:
        """Return the error as plain data with the keys ``code``, ``what``, ``means`` and ``do``."""
        return {"code": self.code, "what": self.what, "means": self.means, "do": self.do}


class BridgeError(TellableError):
    """Anything that the bridge can tell; the root of its exceptions."""

    code = "bridge"
