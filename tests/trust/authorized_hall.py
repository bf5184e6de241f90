"""A page with a door: three devices of a hall's network, and the machine itself."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from blank import blank_database
from fake_rig import RIG, FakeControl, FakeStore
from fastapi import FastAPI
from fastapi.testclient import TestClient

from monitor.dashboard import LiveHub, create_app
from monitor.dashboard.routes.power import ProgramEnd
from monitor.dashboard.security.authorization import Authorization
from monitor.store import AccessFile, open_store

RIG_ADDRESS = "192.168.1.20"
PAGE = f"http://{RIG_ADDRESS}:8064"
OWNER, COACH = ("Olga", "a dry blue heron"), ("Cem", "seven slow trams")


class CountingHasher:
    """Stands in for argon2id where a test is about the door and not about the hash; counts its work."""

    def __init__(self) -> None:
        self.verified = 0

    def hash(self, passcode: str) -> str:
        return f"counted:{passcode}"

    def verify(self, encoded: str, passcode: str) -> bool:
        self.verified += 1
        return encoded == f"counted:{passcode}"


@dataclass
class Hall:
    """The door under test; ``now_s`` is its monotonic clock."""

    app: FastAPI
    authorization: Authorization
    access: AccessFile
    hasher: CountingHasher
    control: FakeControl
    hub: LiveHub
    store: Any
    now_s: list[float]
    power: ProgramEnd
    messages: list[str] = field(default_factory=list)

    def device(self, address: str = "192.168.1.50", base_url: str = PAGE, **more: Any) -> TestClient:
        """Return a browser of its own at an address."""
        return TestClient(
            self.app, base_url=base_url, client=(address, 50_000), follow_redirects=False, cookies={}, **more
        )

    def signed_in(self, who: tuple[str, str], address: str = "192.168.1.50") -> TestClient:
        device = self.device(address)
        answer = device.post("/api/sign-in", json={"name": who[0], "passcode": who[1]}, headers={"origin": PAGE})
        assert answer.status_code == 204, answer.text
        return device


@contextmanager
def hall(folder: Path, *, passcodes: bool = True, power: ProgramEnd | None = None, **how: Any) -> Iterator[Hall]:
    hasher, now_s, messages = CountingHasher(), [1000.0], []
    access = AccessFile(folder / "access.json", hasher)
    if passcodes:
        access.set_passcode(OWNER[0], "owner", OWNER[1])
        access.set_passcode(COACH[0], "coach", COACH[1])
    with open_store(blank_database(folder / "hang-monitor.sqlite")) as store:
        authorization = Authorization(
            access, audit=store.audit.add, tell=messages.append, clock_s=lambda: now_s[0], **{"network": True, **how}
        )
        control, hub = FakeControl(), LiveHub()
        end = power or ProgramEnd(is_service=True)
        app = create_app(
            hub=hub,
            store=FakeStore(),
            rig=RIG,
            control=control,
            authorization=authorization,
            audit=store.audit.recent,
            power=end,
        )
        yield Hall(app, authorization, access, hasher, control, hub, store, now_s, end, messages)
