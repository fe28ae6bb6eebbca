"""The code of a label stands for its record's key, whichever key it is, and reads back as people type it."""

from __future__ import annotations

from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from commissioning.labels.codes import ALPHABET, code_of, key_of


@given(st.uuids(allow_nil=True))
def test_a_code_reads_back_as_its_key(key: UUID) -> None:
    assert key_of(code_of(key)) == key
    assert set(code_of(key)) <= set(ALPHABET)


def test_a_code_read_aloud_or_typed_in_small_letters_is_the_same() -> None:
    key = UUID("01890a5d-ac96-774b-bcce-b302099a8057")
    assert key_of(code_of(key).lower().replace("0", "o").replace("1", "l")) == key


# Independent: a UUID version 7 and its text form as the ULID specification writes it (26 letters, same alphabet).
def test_the_code_is_the_common_text_form_of_such_keys() -> None:
    assert code_of(UUID("01563e3a-b5d3-d676-4c61-efb99302bd5b")) == "01ARZ3NDEKTSV4RRFFQ69G5FAV"


@pytest.mark.parametrize("text", ["", "GUB10", "8" + "0" * 25, "0" * 25, "0" * 27, "0" * 25 + "U", "0" * 25 + "é"])
def test_what_is_no_code_leads_nowhere(text: str) -> None:
    assert key_of(text) is None
