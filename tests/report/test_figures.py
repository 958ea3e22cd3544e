"""Figures hold the points they were given, and stay readable for many bins."""

import io
import itertools
import re
import subprocess
import sys
from collections import Counter

import numpy as np
import pytest
from matplotlib.text import Text
from PIL import Image

from leafwane.report.figures import EPOCH, bin_figure, curve_figure, png_bytes, svg_text
from leafwane.report.looks import LOOKS
from leafwane.report.traces import trace_bin
from tests.report.invented import START, a_course


def panels(figure):
    return [axes for axes in figure.axes if axes.axison]


def points(axes):
    """Return the points with bars that axes hold, one (n, 2) array a bin."""
    return [np.asarray(bars.lines[0].get_xydata()) for bars in axes.containers]


def one_bin(course):
    return bin_figure(trace_bin(course))


def name_of(axes):
    """Return the place of a panel's name."""
    name = axes.get_title("left")
    return next(text for text in axes.findobj(Text) if text.get_text() == name).get_window_extent()


def test_few_bins_share_axes_and_keep_their_points():
    figure = curve_figure([a_course(covers=(80.0, 40.0)), a_course("Tub 2", covers=(60.0, 54.0, 50.0))])
    (axes,) = panels(figure)
    first, second = points(axes)
    day = START.toordinal() - EPOCH
    assert first == pytest.approx(np.array([[day, 100], [day + 14, 50]]))
    assert second[:, 1] == pytest.approx([100, 90, 250 / 3])


def test_bars_hold_nine_times_in_ten():
    course = a_course(covers=(80.0, 40.0))
    (axes,) = panels(one_bin(course))
    segments = axes.containers[0].lines[2][0].get_segments()
    assert np.ptp(segments[1][:, 1]) == pytest.approx(2 * 1.645 * course.check_ins[1].remaining_err)


@pytest.mark.parametrize("status", sorted(LOOKS))
def test_status_is_told_by_marker_and_word(status):
    figure = curve_figure([a_course(status=status)])
    (axes,) = panels(figure)
    assert axes.containers[0].lines[0].get_marker() == LOOKS[status].marker
    (legend,) = figure.legends
    assert LOOKS[status].word.lower() in legend.get_texts()[0].get_text()


FALLING = [
    (80.0, 66.0, 52.0, 41.0),
    (85.0, 74.0, 60.0, 46.0),
    (90.0, 70.0, 50.0, 40.0),
    (70.0, 62.0, 55.0, 50.0),
]


@pytest.mark.parametrize("status", ["on-course", "too-early"])
def test_bins_of_one_status_are_told_apart_in_the_legend_by_their_lines(status):
    courses = [a_course(f"Tub {n}", covers=covers, status=status) for n, covers in enumerate(FALLING)]
    lines = re.findall(r'style="(fill: none;[^"]*stroke-width: 1\.7[^"]*)"', svg_text(curve_figure(courses)))
    assert sorted(Counter(lines).values()) == [2, 2, 2, 2], (
        "each style once in the plot and once in the legend"
    )


def test_a_bin_without_a_line_has_none_in_the_legend():
    figure = curve_figure([a_course("Tub", covers=(80.0, 60.0)), a_course("Box", covers=FALLING[0])])
    tub, box = figure.legends[0].legend_handles
    assert tub.get_linestyle() == "None"
    assert box.get_linestyle() != "None"
    assert tub.get_marker() == box.get_marker() == LOOKS["on-course"].marker


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("covers", [(80.0,), (80.0, 60.0), (80.0, 66.0, 52.0, 41.0), (80.0, 30.0, 9.0, 0.5)])
def test_names_stand_at_the_ends_of_bins_that_share_axes_and_not_over_each_other(covers, narrow):
    names = ["Tub", "Box", "Crate", "Bin behind the shed of the allotment by the wall"]
    figure = curve_figure([a_course(name, covers=covers) for name in names], narrow=narrow)
    figure.draw_without_rendering()
    (axes,) = panels(figure)
    places = [text.get_window_extent() for text in axes.texts if text.get_text() != "ready"]
    assert len(places) == 4
    assert all(place.x1 <= figure.bbox.x1 for place in places)
    assert not any(one.overlaps(other) for one, other in itertools.combinations(places, 2))
    (ready,) = (text.get_window_extent() for text in axes.texts if text.get_text() == "ready")
    assert not any(ready.overlaps(place) for place in places)


def test_many_bins_get_a_panel_each():
    courses = [a_course(f"Allotment {n} by the long wall", covers=(80.0, 80.0 - n)) for n in range(40)]
    figure = curve_figure(courses)
    assert len(panels(figure)) == 40
    for n, axes in enumerate(panels(figure)):
        assert points(axes)[0][1, 1] == pytest.approx(100 - 100 * n / 80)
        assert str(n) in axes.get_title("left")
    assert figure.get_figheight() / 10 > 1.5, "a panel is high enough to be read"
    assert png_bytes(figure, dpi=50).startswith(b"\x89PNG")


def test_titles_of_panels_do_not_run_into_each_other():
    long = "WWWWW very long bin name that somebody typed " * 3
    figure = curve_figure([a_course(long, status="too-early")] * 40)
    png_bytes(figure, dpi=50)
    for here, beside in itertools.pairwise(panels(figure)[:4]):
        assert name_of(here).x1 <= name_of(beside).x0
        assert name_of(here).y0 >= here.texts[0].get_window_extent().y1


def test_top_ups_and_ready_line_are_shown():
    figure = one_bin(a_course(covers=(80.0, 20.0, 60.0, 40.0), batches=(2,), status="topped-up"))
    (axes,) = panels(figure)
    said = {text.get_text() for text in axes.texts}
    assert said == {"ready", "fresh leaf"}
    upright = [line for line in axes.lines if len(set(line.get_xdata())) == 1 and len(line.get_xdata()) == 2]
    assert [line.get_xdata()[0] for line in upright] == [START.toordinal() + 28 - EPOCH]


def test_a_rise_above_the_first_check_in_stays_in_the_picture():
    (axes,) = panels(one_bin(a_course(covers=(40.0, 80.0))))
    assert axes.get_ylim()[1] >= 200


@pytest.mark.parametrize("courses", [[], [a_course(covers=())], [a_course(covers=(80.0,))]])
def test_little_or_nothing_to_draw(courses):
    assert png_bytes(curve_figure(courses)).startswith(b"\x89PNG")


@pytest.mark.parametrize("name", ["$x", "x_1^2", r"$\frac{$", "_nolegend", "<b>&amp;", "盆", "a\nb"])
def test_hostile_names(name):
    for courses in ([a_course(name)], [a_course(name)] * 5):
        assert "<svg" in svg_text(curve_figure(courses))


def test_the_same_figure_gives_the_same_file():
    assert svg_text(one_bin(a_course())) == svg_text(one_bin(a_course()))
    assert png_bytes(one_bin(a_course())) == png_bytes(one_bin(a_course()))


def test_png_has_the_size_asked_for():
    figure = curve_figure([a_course()])
    with Image.open(io.BytesIO(png_bytes(figure, dpi=100))) as picture:
        assert picture.size == tuple(round(100 * inches) for inches in figure.get_size_inches())


def test_no_state_is_shared_through_pyplot():
    code = "import sys, leafwane.report.figures; sys.exit('matplotlib.pyplot' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
