"""The chart in the documentation is the one that the program draws."""

from tests.docs.chart_pictures import PICTURE, season_chart


def test_the_chart_of_the_sample_season_is_fresh():
    assert season_chart() == PICTURE.read_bytes(), "run: python -m tests.docs.chart_pictures"
