"""Every edit of the receiver, and of moving clips, by the real command and with its own choice of processes."""

import pytest
from edits import of
from rebuilding import Matrix, build_by_command, check

pytestmark = pytest.mark.long


@pytest.fixture(scope="module")
def matrix(tmp_path_factory):
    return Matrix(tmp_path_factory.mktemp("others"), build_by_command)


@pytest.mark.parametrize("edit", of("receiver", "only"), ids=lambda edit: f"{edit.session}: {edit.name}")
def test_a_build_over_the_last_equals_one_from_nothing(matrix, edit, record_property):
    check(matrix, edit, record_property)
