"""Handles: what tells two pupae of one label apart, and is never taken for a label."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pupawatch.errors import NotUnderstood
from pupawatch.model.labels import checked_label, handle_of, handles, is_handle, is_handle_of
from pupawatch.model.text import LONGEST_LABEL


@given(st.text(min_size=1))
def test_a_handle_is_made_of_the_id_alone_and_stands_for_it(identity: str) -> None:
    assert handle_of(identity) == handle_of(identity)
    assert is_handle(handle_of(identity))
    assert all(is_handle_of(handle_of(identity, digits), identity) for digits in range(4, 33))
    assert is_handle_of(handle_of(identity).upper(), identity)


def test_the_handle_of_one_is_not_that_of_another() -> None:
    assert not is_handle_of(handle_of("a"), "b")


@pytest.mark.parametrize("label", ["@3f9a2c", "@CAFE", " @0000 ", "@" + "a" * (LONGEST_LABEL - 1)])
def test_a_new_label_cannot_have_the_form_of_a_handle(label: str) -> None:
    with pytest.raises(NotUnderstood, match="cannot be a label: @ with digits is a handle"):
        checked_label(label)


@pytest.mark.parametrize("label", ["@A1", "@sum", "P1@cafe", "P1~1a2b", "3f9a2c", "@3f9a2c!"])
def test_every_other_label_stays_one(label: str) -> None:
    assert checked_label(label) == label


def test_a_word_that_may_be_a_label_gets_handles_too_long_for_any_label() -> None:
    assert handles(["a", "b"], "P1") == [handle_of("a"), handle_of("b")]
    assert all(len(handle) > LONGEST_LABEL for handle in handles(["a", "b"], handle_of("a")))


def test_handles_that_begin_alike_are_told_whole() -> None:
    assert handles(["a", "a"], "P1") == [handle_of("a", 32)] * 2
