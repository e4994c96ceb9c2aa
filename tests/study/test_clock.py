"""What the progress bar hears."""

from itertools import pairwise

import pytest

from fem.study.clock import beads_take_long


def test_the_shares_of_a_run_with_beads_go_on_and_leave_most_of_it_to_them():
    heard: list[float] = []
    say = beads_take_long(lambda _text, share: heard.append(share))
    assert say is not None
    shares = [k / 1000 for k in range(1001)]
    for share in shares:
        say("stage", share)
    assert heard[0] == 0 and heard[-1] == pytest.approx(1, rel=1e-12)
    assert all(a < b for a, b in pairwise(heard))
    assert max(b - a for a, b in pairwise(heard)) < 0.01, "no step between stages"
    assert heard[600] - heard[500] > 0.5, "the stage that takes most of the time"


def test_nobody_listens():
    assert beads_take_long(None) is None
