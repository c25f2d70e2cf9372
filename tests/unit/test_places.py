"""A damaged install says so."""

import pytest

from fitkit import places


def test_a_missing_file_of_the_kit_is_said():
    with pytest.raises(FileNotFoundError, match=r"templates/nothing\.html is not part of this install"):
        places.template("nothing.html")
