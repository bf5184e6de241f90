"""Errors that the security middleware answers with when it refuses a request."""

from __future__ import annotations

from monitor.dashboard.views.problems import DashboardError


class Refusal(DashboardError):
    """A refused request; ``status`` is its HTTP status (RFC 9110)."""

    code = "refused"
    status = 403


class SignInNeeded(Refusal):
    """Nobody is signed in on this device."""

    code = "sign-in-needed"
    status = 401

    def __init__(self) -> None:
        super().__init__(
            what="This device is not signed in.",
            means="Nothing was read or changed.",
            do="Open the page /sign-in and give a passcode, or ask for a code on the wall.",
        )


class NotYourRole(Refusal):
    """The device is signed in, but not for this."""

    code = "not-your-role"

    def __init__(self, role: str, needed: str) -> None:
        super().__init__(
            what=f"This device is signed in as {role}; this needs {needed}.",
            means="Nothing was read or changed.",
            do=f"Sign in on the page /sign-in as {needed}.",
        )


class WrongPasscode(Refusal):
    """The name or the passcode is wrong; it is not said which."""

    code = "wrong-passcode"
    status = 401

    def __init__(self) -> None:
        super().__init__(
            what="The name or the passcode is wrong.",
            means="This device is not signed in.",
            do="Try again. An owner can set a new passcode at the machine: hang-monitor passcode NAME.",
        )


class WrongCode(Refusal):
    """The code is wrong, too old, or was made for another device."""

    code = "wrong-code"
    status = 401

    def __init__(self) -> None:
        super().__init__(
            what="This code is not valid on this device.",
            means="This device is not signed in.",
            do="Look at the wall screen for the newest code, or ask for another one on this device.",
        )


class TooManyTries(Refusal):
    """Too many failures, or too many requests; the address must wait."""

    code = "too-many-tries"
    status = 429

    def __init__(self, wait_s: float) -> None:
        self.wait_s = max(1, round(wait_s + 0.5))
        super().__init__(
            what="There were too many tries from here.",
            means=f"Nothing is looked at for the next {self.wait_s} s.",
            do="Wait, then try again. Signing in at the machine itself goes on to work.",
        )


class TooLarge(Refusal):
    """A request's body is larger than anything that is expected here."""

    code = "too-large"
    status = 413

    def __init__(self, most_bytes: int) -> None:
        super().__init__(
            what=f"The request is larger than {most_bytes} bytes.",
            means="Nothing was changed.",
            do="Send less at once.",
        )


class TooSlow(Refusal):
    """A request's body did not arrive in time."""

    code = "too-slow"
    status = 408

    def __init__(self, within_s: float) -> None:
        super().__init__(
            what=f"The request was not complete after {within_s:g} s.",
            means="Nothing was changed.",
            do="Try again, nearer to the network.",
        )


class NotJson(Refusal):
    """A change was sent in a form that a foreign page could send too."""

    code = "not-json"
    status = 415

    def __init__(self) -> None:
        super().__init__(
            what="A change must be sent as application/json.",
            means="Nothing was changed; forms of foreign pages cannot send that kind.",
            do="Send the header Content-Type: application/json.",
        )
