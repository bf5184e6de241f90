"""Screens of all kinds: quick, slow, deaf, and such that come and go."""

from __future__ import annotations

import asyncio
import random
import threading

from monitor.dashboard.live.hub import LiveHub


class Screens:
    """Runs screens in an event loop of their own, as the web server does."""

    def __init__(self, hub: LiveHub, seed: int, count: int = 20) -> None:
        self._hub, self._seed, self._count = hub, seed, count
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._run, name="screens", daemon=True)
        self._ended: asyncio.Event | None = None
        self.pictures = 0
        self.sessions = 0

    def __enter__(self) -> Screens:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._loop.call_soon_threadsafe(lambda: self._ended and self._ended.set())
        self._thread.join()

    def _run(self) -> None:
        self._loop.run_until_complete(self._all())
        self._loop.close()

    async def _all(self) -> None:
        self._ended = asyncio.Event()
        screens = [asyncio.create_task(self._screen(random.Random(self._seed + n))) for n in range(self._count)]
        await self._ended.wait()
        for screen in screens:
            screen.cancel()
        await asyncio.gather(*screens, return_exceptions=True)

    async def _screen(self, rng: random.Random) -> None:
        while True:
            self.sessions += 1
            screen = self._hub.join()
            try:
                pace_s = rng.choice([0.0, 0.05, 0.5, 5.0])
                for _ in range(rng.randint(1, 200)):
                    await screen.wait(1.0)
                    bundle = screen.take()
                    if bundle.picture is not None:
                        self.pictures += 1
                        self._hub.message(bundle)
                    await asyncio.sleep(pace_s)
            finally:
                self._hub.leave(screen)
