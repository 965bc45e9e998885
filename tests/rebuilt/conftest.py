"""What the edits are tried with, but where a module has its own."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from rebuilding import Matrix, building_in_forks


@pytest.fixture(scope="module")
def matrix(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Matrix]:
    """Builds as the command makes them, each in a process of its own that has imported all of it."""
    folder = tmp_path_factory.mktemp("edits")
    with building_in_forks(folder) as build:
        yield Matrix(folder, build)
