"""Which folder of tests mirrors which code."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Room:
    """Code and the tests that must notice a mistake in it; paths and patterns are relative to the project's folder."""

    sources: tuple[str, ...]
    tests: tuple[str, ...]

    def modules(self, root: Path) -> list[Path]:
        """Return the room's modules, sorted, relative to the project's folder."""
        files = {path.relative_to(root) for pattern in self.sources for path in root.glob(pattern)}
        return sorted(path for path in files if "migrations" not in path.parts)

    def test_files(self, root: Path, module: Path) -> list[str]:
        """Return the room's test files; first those that name the module, so that a mistake is noticed early."""
        files = sorted({path for folder in self.tests for path in (root / folder).rglob("test_*.py")})

        def rank(path: Path) -> tuple[int, int]:
            return -path.read_text(encoding="utf-8").count(module.stem), path.stat().st_size

        return [str(path.relative_to(root)) for path in sorted(files, key=rank)]


def _package(name: str, *tests: str) -> Room:
    return Room((f"monitor/{name}/**/*.py",), tests or (f"tests/{name}",))


ROOMS = {
    "bridge": Room(("firmware_bridge/*.py",), ("tests/bridge",)),
    "newtons": _package("newtons", "tests/newtons", "tests/newtons_calibration"),
    "signals": _package("signals"),
    "holds": _package("holds", "tests/holds", "tests/pipeline"),
    "measures": _package("measures", "tests/measures", "tests/pipeline"),
    "pipeline": Room(("monitor/pipeline.py", "monitor/event_analyser.py"), ("tests/pipeline",)),
    "records": _package("records"),
    "coaching": _package("coaching"),
    "health": _package("health"),
    "procedures": _package("procedures"),
    "jobs": _package("jobs"),
    "store": _package("store"),
    "exports": _package("exports"),
    "service": _package("service"),
    "station": _package("station"),
    "dashboard": _package("dashboard"),
}
