"""Bucket identities: a misread label is caught."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trialkit.tables.bucket_ids import (
    ALPHABET,
    LARGEST_NUMBER,
    bucket_id_is_valid,
    garden_bucket_ids,
    make_bucket_id,
    nearest_bucket_id,
)

numbers = st.integers(0, LARGEST_NUMBER)
of_gardens = st.tuples(st.text(min_size=1), st.integers(1, 400)).map(lambda one: garden_bucket_ids(*one)[-1])


def test_all_identities_are_distinct_and_valid() -> None:
    """Every number has its own identity, without vowels and look-alikes."""
    identities = [make_bucket_id(number) for number in range(LARGEST_NUMBER + 1)]
    assert len(set(identities)) == LARGEST_NUMBER + 1
    assert all(bucket_id_is_valid(identity) for identity in identities)
    assert not set("".join(identities)) & set("AEIOU0L1S5Z2B8QGV")


def test_the_alphabet_is_of_prime_length() -> None:
    """The check works only if the number of characters is a prime above the number of places."""
    assert len(set(ALPHABET)) == len(ALPHABET) == 19


@given(numbers, st.integers(0, 3), st.sampled_from(ALPHABET))
def test_every_single_wrong_character_is_caught(number: int, place: int, character: str) -> None:
    """One character misread makes the identity invalid."""
    identity = make_bucket_id(number)
    wrong = identity[:place] + character + identity[place + 1 :]
    assert bucket_id_is_valid(wrong) == (wrong == identity)


@given(numbers, st.permutations(range(4)).filter(lambda order: sum(a != b for a, b in enumerate(order)) == 2))
def test_every_swap_of_two_characters_is_caught(number: int, order: list[int]) -> None:
    """Two characters exchanged, neighbours or not, make the identity invalid."""
    identity = make_bucket_id(number)
    wrong = "".join(identity[place] for place in order)
    assert bucket_id_is_valid(wrong) == (wrong == identity)


@given(st.text(max_size=9))
def test_any_text_can_be_asked_about(text: str) -> None:
    """Whatever was typed, the answer is yes or no; what has another length is none."""
    assert not bucket_id_is_valid(text) or len(text) in (4, 7, 8, 9)


@given(of_gardens, st.integers(0, 6), st.sampled_from(ALPHABET), st.integers(0, 6))
def test_a_slip_in_an_identity_of_a_garden_is_caught(identity: str, place: int, character: str, other: int) -> None:
    """One character misread, or two exchanged, make the longer identities invalid too."""
    wrong = identity[:place] + character + identity[place + 1 :]
    assert bucket_id_is_valid(wrong) == (wrong == identity)
    characters = list(identity)
    characters[place], characters[other] = characters[other], characters[place]
    assert bucket_id_is_valid("".join(characters)) == ("".join(characters) == identity)


def test_identities_of_a_garden_are_its_own() -> None:
    """They begin alike, are all different however many there are, and follow from the garden alone."""
    few, many, other = garden_bucket_ids("a", 30), garden_bucket_ids("a", 1000), garden_bucket_ids("b", 30)
    assert garden_bucket_ids("a", 25) == few[:25]
    assert {len(one) for one in garden_bucket_ids("a", 18)} == {7}
    assert {len(one) for one in few} == {8}
    assert {len(one) for one in many} == {9}
    assert len({*few, *many, *other}) == 1060
    assert len({one[:5] for one in [*few, *many]}) == 1
    with pytest.raises(ValueError, match="at most 6858 buckets"):
        garden_bucket_ids("a", 6859)


@given(numbers, st.integers(0, 2))
def test_a_swap_of_neighbours_is_traced_back(number: int, place: int) -> None:
    """The identity that was meant is found again among those of a trial."""
    identity = make_bucket_id(number)
    swapped = identity[:place] + identity[place + 1] + identity[place] + identity[place + 2 :]
    assert nearest_bucket_id(swapped, [identity]) == identity


@pytest.mark.parametrize("number", [-1, LARGEST_NUMBER + 1])
def test_numbers_without_identity_are_refused(number: int) -> None:
    """Beyond the range there is no identity."""
    with pytest.raises(ValueError, match="Bucket numbers run"):
        make_bucket_id(number)


def test_nothing_near_is_said_so() -> None:
    """An identity unlike any other has no suggestion."""
    assert nearest_bucket_id("????", ["334X"]) is None
