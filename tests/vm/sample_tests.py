"""Two tests that pass and one that fails: what the shared runner is tried on."""


def test_one_passes():
    assert 1 + 1 == 2


def test_two_fails():
    assert 1 + 1 == 3, "sums differ"


def test_three_passes_after_a_failure():
    assert 7 // 2 == 3
