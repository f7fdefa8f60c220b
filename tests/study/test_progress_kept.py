"""Points from an earlier run are told as such, so that they do not shorten the estimate of the time the others take."""

import io

from made_up import Engine, make_case

from waveflow.show.progress import Watch
from waveflow.study.sweep import sweep


class Noting(Watch):
    """A watch that keeps what it would have told of the time left after every finished speed."""

    def __init__(self):
        super().__init__(stream=io.StringIO())
        self.told = []

    def __call__(self, done, total, rpm, ve):
        super().__call__(done, total, rpm, ve)
        self.told.append((done, total, self.time_left()))


def test_kept_points_are_left_out_of_the_estimate(tmp_path):
    speeds = [2000.0, 2500.0, 3000.0, 3500.0, 4000.0, 4500.0, 5000.0, 5500.0]
    journal = tmp_path / "points.jsonl"
    slow = Engine(slow=0.1)
    sweep(make_case(), speeds[:4], run_point=slow, workers=1, resume=journal)
    with Noting() as watch:
        sweep(make_case(), speeds, run_point=slow, workers=1, resume=journal, progress=watch)
    fresh = [left for done, _, left in watch.told if done > 4]
    assert all(left != left for done, _, left in watch.told if done <= 4)  # nothing to judge by yet
    done, total, left = next(told for told in watch.told if told[0] == 5)
    assert left > 0.09 * (total - done), fresh  # 0.1 s a point; the kept ones, which took no time, would halve it or more
