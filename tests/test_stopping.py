"""When a search stops."""

from cakewright.stopping import Cancelled, MaxSeconds, MaxSteps, NoImprovement, first_of, used


def test_steps_are_counted():
    stop = MaxSteps(3)
    assert [stop(n, 1.0) for n in range(5)] == [False, False, False, True, True]


def test_seconds_count_from_the_first_question():
    """The clock may have run for long before the search begins."""
    now = iter([100.0, 101.0, 102.5])
    stop = MaxSeconds(2.0, lambda: next(now))
    assert [stop(n, 1.0) for n in range(3)] == [False, False, True]


def test_no_improvement_starts_again_with_each_new_best():
    stop = NoImprovement(2)
    assert [stop(n, best) for n, best in enumerate([9.0, 9.0, 8.0, 8.0, 8.0])] == [False, False, False, False, True]


def test_somebody_says_stop():
    asked = iter([False, True])
    stop = Cancelled(lambda: next(asked))
    assert [stop(n, 1.0) for n in range(2)] == [False, True]


def test_the_first_rule_wins_and_all_keep_counting():
    """A rule that counts is asked even when another has already said stop."""
    quiet = NoImprovement(3)
    stop = first_of(MaxSteps(1), quiet)
    assert [stop(n, 5.0) for n in range(4)] == [False, True, True, True]
    assert quiet(3, 5.0)


def test_rules_tell_how_much_of_them_is_used():
    """Steps and seconds tell their share, a combined rule the larger one; a rule that cannot tell says None."""
    now = [100.0]
    time_rule = MaxSeconds(10.0, lambda: now[0])
    assert used(time_rule, 5) == 0.0  # not begun
    time_rule(0, 1.0)
    now[0] = 104.0
    assert used(time_rule, 5) == 0.4
    assert used(MaxSteps(20), 5) == 0.25
    assert used(MaxSteps(0), 0) == 1.0
    assert used(first_of(MaxSteps(20), time_rule, NoImprovement(3)), 5) == 0.4
    assert used(MaxSteps(4), 9) == 1.0
    assert used(NoImprovement(3), 5) is None
