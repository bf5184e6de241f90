"""Kinds of sources: each opens with its rig, is closed at the end, and a new one needs one entry."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from firmware_bridge.sources import HostClock, LinkState, SourceEvent
from monitor.demo import DemoRig
from monitor.errors import BadInput
from monitor.station.sources import SOURCE_KINDS, RigSource, SourceConfig, open_source
from monitor.station.station import assemble
from monitor.store import DataFolder


class Toy:
    """A source with one state."""

    def __init__(self) -> None:
        self.closed = False

    def events(self) -> Iterator[SourceEvent]:
        yield LinkState("connected", 0)

    def close(self) -> None:
        self.closed = True


@pytest.fixture
def folder(tmp_path) -> DataFolder:
    return DataFolder.open(tmp_path / "data")


def test_an_unknown_kind_is_refused_and_the_known_ones_are_named(folder):
    with pytest.raises(BadInput) as refused, open_source(SourceConfig("telepathy"), folder):
        pass
    assert "telepathy" in refused.value.what
    assert all(kind in refused.value.do for kind in SOURCE_KINDS)


def test_a_new_kind_needs_one_entry(folder, monkeypatch):
    toy = Toy()
    monkeypatch.setitem(SOURCE_KINDS, "toy", lambda config, folder, stack: RigSource(toy, HostClock()))
    with open_source(SourceConfig("toy"), folder) as rig_source, assemble(rig_source, folder) as station:
        station.service.start()
        assert station.service.ended.wait(60)
        assert station.service.health()["link"]["condition"] == "connected"
    assert toy.closed


def test_a_virtual_rig_is_read_with_its_own_calibration_or_that_of_the_folder(folder):
    invented = DemoRig(1)
    for given in (invented.calibration, None):
        with open_source(SourceConfig("virtual", virtual=invented, calibration=given), folder) as rig_source:
            assert rig_source.rig == invented.rig
            assert rig_source.calibration == given  # the folder has none
            assert rig_source.recorder is not None
            assert rig_source.port


def test_without_a_rig_the_state_says_what_to_do(folder):
    with open_source(SourceConfig("none"), folder) as rig_source:
        state = next(iter(rig_source.source.events()))
    assert isinstance(state, LinkState)
    assert (state.condition, state.do) == ("absent", "Open First steps and choose one.")
    assert (rig_source.rig, rig_source.recorder) == (None, None)
