"""One edit of each kind of measurement, in a session that holds it alone. The whole table is tried with -m long."""

from dataclasses import replace

import pytest
from edits import KIND_EDITS
from rebuilding import Matrix, build_here, check

EACH = pytest.mark.parametrize("edit", KIND_EDITS, ids=lambda edit: edit.session.removeprefix("only "))


@pytest.fixture(scope="module")
def matrix(tmp_path_factory):
    return Matrix(tmp_path_factory.mktemp("kinds"), build_here)


@EACH
def test_a_build_over_the_last_equals_one_from_nothing(matrix, edit, record_property):
    check(matrix, replace(edit, undo=False), record_property)


@pytest.mark.long
@EACH
def test_an_edit_that_is_taken_back_leaves_nothing(matrix, edit, record_property):
    assert edit.undo
    check(matrix, edit, record_property)
