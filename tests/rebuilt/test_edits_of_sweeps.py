"""Every edit of the third session's sweeps but those of single keys, by the real command. See edits.py."""

import pytest
from edits import of
from rebuilding import Matrix, build_by_command, check

pytestmark = pytest.mark.long


@pytest.fixture(scope="module")
def matrix(tmp_path_factory):
    return Matrix(tmp_path_factory.mktemp("sweeps"), build_by_command)


@pytest.mark.parametrize("edit", of("short", "sweeps", keys=False), ids=lambda edit: edit.name)
def test_a_build_over_the_last_equals_one_from_nothing(matrix, edit, record_property):
    check(matrix, edit, record_property)
