"""Every edit of a key in the third session's sweeps. See edits.py and rebuilding.py."""

import pytest
from edits import of
from rebuilding import check

pytestmark = pytest.mark.long


@pytest.mark.parametrize("edit", of("short", "sweeps", keys=True), ids=lambda edit: edit.name)
def test_a_build_over_the_last_equals_one_from_nothing(matrix, edit, record_property):
    check(matrix, edit, record_property)
