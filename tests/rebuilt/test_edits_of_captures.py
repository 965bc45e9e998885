"""Every edit of the third session's captures. See edits.py and rebuilding.py."""

import pytest
from edits import of
from rebuilding import check

pytestmark = pytest.mark.long


@pytest.mark.parametrize("edit", of("captures"), ids=lambda edit: edit.name)
def test_a_build_over_the_last_equals_one_from_nothing(matrix, edit, record_property):
    check(matrix, edit, record_property)
