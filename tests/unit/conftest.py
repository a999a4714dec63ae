"""The bundled protocol, causes and actions, as several tests of plans need them; none of them is ever changed."""

import pytest

from handsel.data.load_actions import load_actions
from handsel.data.load_faults import load_faults
from handsel.data.load_protocol import load_protocol


@pytest.fixture(scope="session")
def protocol():
    return load_protocol()


@pytest.fixture(scope="session")
def catalogue(protocol):
    return load_faults("wrist-hand-1", protocol)


@pytest.fixture(scope="session")
def actions(catalogue, protocol):
    return load_actions("wrist-hand-1-actions", catalogue, protocol)
