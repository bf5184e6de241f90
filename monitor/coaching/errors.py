"""Errors of the coaching."""

from __future__ import annotations

from monitor.errors import BadInput


class BadPerson(BadInput):
    """A person's name, stature, date, unit or time zone cannot be used."""

    code = "bad-person"


class BadAnswers(BadInput):
    """Answers of an intake that fit no question."""

    code = "bad-answers"


class BadProgramme(BadInput):
    """A programme lacks something, names what does not exist, or has numbers that make no sense."""

    code = "bad-programme"


class BadEntry(BadInput):
    """An entry of pain, or of a hang away from the rig, that cannot be used."""

    code = "bad-entry"
