"""What the progress bar hears."""

from itertools import pairwise

import pytest

from fem.study.clock import TimeLeft, by_the_clock


def test_the_shares_of_a_run_with_beads_go_on_and_leave_most_of_it_to_them():
    heard: list[float] = []
    say = by_the_clock(lambda _text, share: heard.append(share), beads=True)
    assert say is not None
    shares = [k / 1000 for k in range(1001)]
    for share in shares:
        say("stage", share)
    assert heard[0] == 0 and heard[-1] == pytest.approx(1, rel=1e-12)
    assert all(a < b for a, b in pairwise(heard))
    assert max(b - a for a, b in pairwise(heard)) < 0.02, "no step between stages"
    assert heard[600] - heard[500] > 0.5, "the stage that takes most of the time"


def test_nobody_listens():
    assert by_the_clock(None, beads=False) is None


def timed(steps):
    """What is told of time left at each (share, seconds since the start)."""
    now = [0.0]
    left = TimeLeft(clock=lambda: now[0])
    told = []
    for share, at in steps:
        now[0] = at
        told.append(left.seconds(share))
    return told


def test_time_left_is_what_the_clock_and_the_share_say():
    assert timed([(0.25, 10.0), (0.5, 20.0), (1.0, 40.0)]) == pytest.approx([30.0, 20.0, 0.0])


def test_time_left_is_not_told_before_it_can_be_known():
    assert timed([(0.02, 10.0), (0.3, 1.0)]) == [None, None]


def test_a_share_that_begins_anew_counts_from_there():
    # A finer mesh: solving begins again at 0.2 after 40 s and reaches 0.4 in another 20 s
    told = timed([(0.5, 40.0), (0.2, 40.0), (0.4, 60.0)])
    assert told == [pytest.approx(40.0), None, pytest.approx(60.0)]
    # A share that falls by a hair is the same pass
    assert timed([(0.5, 40.0), (0.49, 41.0)])[1] == pytest.approx(41 * 0.51 / 0.49)


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(3.2, "about 3 s left"), (43.0, "about 45 s left"), (600.0, "about 10 min left"), (7200.0, "about 2.0 h left")],
)
def test_time_left_in_words(seconds, words):
    now = [0.0]
    left = TimeLeft(clock=lambda: now[0])
    now[0] = seconds if seconds > 3 else 4.0
    assert left.words(0.5) == words


def test_in_a_pipe_each_stage_is_one_line_without_returns(capsys):
    from fem.cli.console import progress

    with progress() as say:
        for k in range(1000):
            say("solve" if k < 500 else "pictures: mesh", k / 1000)
    told = capsys.readouterr().err
    assert told.count("\n") == 2 and "\r" not in told and "\x1b" not in told
    assert told.splitlines()[1].startswith("beadwork: pictures (50 %")
