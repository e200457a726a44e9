"""A slice of the seasons beside this file: doubt finds what is planted and leaves the clean alone."""

import doubt
import pytest
import season as seasons


@pytest.fixture(scope="module")
def found():
    some = doubt.Found()
    for seed, how in ((7001, seasons.PLAIN), (7002, seasons.FAINT)):
        doubt._planted(some, seed, how)
        doubt._clean(some, seed, how)
    return some


@pytest.mark.parametrize("kind", doubt.WANTED)
def test_nearly_all_that_is_planted_is_found(found, kind):
    hits = [hit for name, hit in found.planted if name.startswith(kind)]
    assert hits and sum(hits) >= 0.8 * len(hits)


def test_few_clean_people_are_suspected(found):
    assert found.people == 40 and found.flagged <= 0.05 * found.people
