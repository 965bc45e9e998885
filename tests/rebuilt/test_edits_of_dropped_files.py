"""Every edit of a session whose files are recognised: some in every run, the others with -m long. See edits.py."""

import pytest
from edits import of
from rebuilding import Matrix, build_here, check

_IN_EVERY_RUN = ("a file dropped in",)  # and taken out again


@pytest.fixture(scope="module")
def matrix(tmp_path_factory):
    return Matrix(tmp_path_factory.mktemp("dropped"), build_here)


@pytest.mark.parametrize("edit", [e for e in of("dropped") if e.name in _IN_EVERY_RUN], ids=lambda edit: edit.name)
def test_a_build_over_the_last_equals_one_from_nothing(matrix, edit, record_property):
    check(matrix, edit, record_property)


@pytest.mark.long
@pytest.mark.parametrize("edit", [e for e in of("dropped") if e.name not in _IN_EVERY_RUN], ids=lambda edit: edit.name)
def test_every_other_edit(matrix, edit, record_property):
    check(matrix, edit, record_property)
