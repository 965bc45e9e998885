"""Every edit of a studio.toml above a session: a build over the last outputs notices it. See edits.py."""

import pytest
from edits import STUDIO_EDITS
from rebuilding import Matrix, build_here, check

_IN_EVERY_RUN = ("a file of the studio changed",)


@pytest.fixture(scope="module")
def matrix(tmp_path_factory):
    return Matrix(tmp_path_factory.mktemp("studio"), build_here)


@pytest.mark.parametrize("edit", [e for e in STUDIO_EDITS if e.name in _IN_EVERY_RUN], ids=lambda edit: edit.name)
def test_a_build_over_the_last_equals_one_from_nothing(matrix, edit, record_property):
    check(matrix, edit, record_property)


@pytest.mark.long
@pytest.mark.parametrize("edit", [e for e in STUDIO_EDITS if e.name not in _IN_EVERY_RUN], ids=lambda edit: edit.name)
def test_every_other_edit(matrix, edit, record_property):
    check(matrix, edit, record_property)
