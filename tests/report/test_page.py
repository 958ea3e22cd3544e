"""The page holds all it shows, believes nobody's text, and says what is in doubt and what to do."""

import base64
import itertools
import re
from collections import Counter
from dataclasses import replace
from datetime import date
from functools import reduce
from html.parser import HTMLParser
from operator import or_
from urllib.parse import urlsplit

import pytest

from leafwane.breakdown.course import Forecast
from leafwane.errors import OutputError
from leafwane.flags import NOTES, Flag
from leafwane.report.looks import LOOKS
from leafwane.report.page import report_html, write_report
from tests.report.invented import a_course, a_plan, a_score, a_trial, write_photo

HOSTILE = "\"><script>alert('x')</script><img src=//evil.example/x.png onerror=alert(1)> ' & {{ 7 * 7 }}"
VOID = {"meta", "img", "br", "source", "link", "input", "hr"}


class Page(HTMLParser):
    """What a browser would see: elements with their attributes, text, and whether every element is closed."""

    def __init__(self, html) -> None:
        super().__init__(convert_charrefs=True)
        self.elements, self.open, self.text, self.css = [], [], "", ""
        self.feed(html)
        assert not self.open, self.open

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] == "style":
            self.css += data
        else:
            self.text += data

    def all(self, tag):
        return [attrs for name, attrs in self.elements if name == tag]

    def values(self, *names: str):
        return [attrs[name] for _, attrs in self.elements for name in names if name in attrs]

    @property
    def words(self):
        return " ".join(self.text.split())


def page_of(root, *, scores=(), courses=(), name="Quince Lane garden", bins=(), today=None):
    trial = a_trial(root, name=name, bins=bins)
    return Page(report_html(trial=trial, scores=scores, courses=courses, out=root, today=today))


def full_page(root):
    write_photo(root / "hedge" / "1.jpg")
    write_photo(root / "overlays" / "1.jpg")
    scores = [
        a_score("hedge/1.jpg", overlay="overlays/1.jpg", flags=Flag.TILTED),
        a_score("hedge/2.jpg", leaf=None, flags=Flag.NO_CARD, message="hedge/2.jpg: no reference card"),
        a_score("hedge/3.jpg", leaf=30.0, date=None, flags=Flag.NO_DATE),
    ]
    courses = [a_course(flags=Flag.TILTED), a_course("Tub", status="stalled")]
    return page_of(root, scores=scores, courses=courses)


def addresses(page):
    """Return every address in attributes and style sheets."""
    inline = page.values("style")
    found = page.values("src", "href", "action", "data", "poster", "xlink:href", "background")
    found += page.values("srcset")
    for css in (page.css, *inline):
        found += re.findall(r"url\(\s*['\"]?([^'\")]*)", css) + re.findall(r"@import\s+['\"]([^'\"]*)", css)
    return found


def test_nothing_is_loaded_from_outside(tmp_path):
    page = full_page(tmp_path)
    found = addresses(page)
    assert any(address.startswith("data:image/jpeg") for address in found)
    for address in found:
        assert urlsplit(address).scheme == "data" or address.startswith("#"), address[:80]
    assert "@import" not in page.css
    assert not {"script", "link", "iframe", "object", "embed", "base"} & {tag for tag, _ in page.elements}
    policy = next(m["content"] for m in page.all("meta") if m.get("http-equiv") == "Content-Security-Policy")
    assert policy.startswith("default-src 'none'")


def test_embedded_figures_load_nothing_either(tmp_path):
    figures = [a for a in addresses(full_page(tmp_path)) if a.startswith("data:image/svg+xml")]
    assert len(figures) == 4
    for figure in figures:
        svg = base64.b64decode(figure.split(",", 1)[1]).decode()
        assert "<script" not in svg
        for address in re.findall(r"(?:href|src)=\"([^\"]*)\"", svg):
            assert address.startswith("#")


def test_hostile_text_is_shown_and_not_obeyed(tmp_path):
    course = a_course(HOSTILE, leaf=HOSTILE, remedies=(HOSTILE,))
    scores = [
        a_score(f"{HOSTILE}/1.jpg", name=HOSTILE, method=HOSTILE),
        a_score(f"{HOSTILE}/2.jpg", name=HOSTILE, leaf=None, message=HOSTILE),
        a_score(f"{HOSTILE}/3.jpg", name=HOSTILE, date=None),
    ]
    plan = a_plan(HOSTILE, notes=HOSTILE, grams=400.0)
    page = page_of(tmp_path, scores=scores, courses=[course], name=HOSTILE, bins=[plan])
    assert not page.all("script")
    assert not page.values("onerror")
    assert all(urlsplit(address).scheme == "data" or address.startswith("#") for address in addresses(page))
    assert page.words.count(" ".join(HOSTILE.split())) >= 9
    assert "49" not in page.words


@pytest.mark.parametrize("where", ["scored", "unscored", "check-in"])
def test_every_flag_is_explained_wherever_it_stands(tmp_path, where):
    every = reduce(or_, NOTES)
    page = {
        "scored": lambda: page_of(tmp_path, scores=[a_score(flags=every)], courses=[a_course()]),
        "unscored": lambda: page_of(tmp_path, scores=[a_score(leaf=None, flags=every)]),
        "check-in": lambda: page_of(tmp_path, courses=[a_course(flags=every)]),
    }[where]()
    for note in NOTES.values():
        assert f"{note.meaning}".lower() in page.words.lower()
        assert f"{note.advice}.".lower() in page.words.lower()


def test_flags_that_are_not_set_are_not_shown(tmp_path):
    page = page_of(tmp_path, scores=[a_score(flags=Flag.TILTED)], courses=[a_course()])
    assert NOTES[Flag.BLURRED].meaning not in page.words


def test_photos_left_out_are_named_with_what_to_do(tmp_path):
    page = full_page(tmp_path)
    assert "hedge/2.jpg: no reference card" in page.words
    assert "hedge/3.jpg" in page.words
    assert "Put the date into the file's name" in page.words


@pytest.mark.parametrize(
    "word",
    ["mould", "dust", "gloves", "wash your hands", "woodland", "Local rules come first", "Cover is not weight",
     "Worms bury leaves", "common practice"],
)  # fmt: skip
def test_cautions_and_meanings_are_always_there(tmp_path, word):
    assert word.lower() in page_of(tmp_path).words.lower()


def test_photos_set_aside_are_named_with_why_and_their_dates_are_not_the_trials(tmp_path):
    odd = a_score("hedge/4.jpg", date=date(2062, 1, 10), flags=Flag.FUTURE_DATE | Flag.DARK)
    page = page_of(tmp_path, scores=[a_score(), odd])
    _, aside = page.words.split("Scored, but set aside")
    assert "hedge/4.jpg: leaf on 80% of the surface" in aside
    assert NOTES[Flag.FUTURE_DATE].meaning[1:] in aside
    assert NOTES[Flag.DARK].meaning not in aside
    assert "2 photos, 4 October 2031" in page.words
    assert "Scored, but set aside" not in page_of(tmp_path, scores=[a_score()]).words


def test_a_photo_that_counts_twice_is_named_and_told_of_at_the_top(tmp_path):
    one, two = (replace(a_score(f"hedge/{n}.jpg", date=date(2031, 10, n)), digest="x") for n in (4, 11))
    page = page_of(tmp_path, scores=[one, two], courses=[a_course()])
    glance, rest = page.words.split("The same photo more than once", 1)
    assert "See which photos these are" in glance
    assert "#copied" in page.values("href")
    assert "hedge/4.jpg and hedge/11.jpg" in rest
    assert "keep the one whose date and bin are right, and delete the others" in rest
    assert "more than once" not in page_of(tmp_path, scores=[one], courses=[a_course()]).words
    assert "#copied" not in page_of(tmp_path, scores=[one], courses=[a_course()]).values("href")


def test_a_bin_that_should_be_ready_by_now_could_do_with_a_visit(tmp_path):
    course = a_course("Tub", finish=Forecast(date=date(2031, 12, 1), latest=date(2031, 12, 20)))
    before, after = (
        page_of(tmp_path, courses=[course], today=date(2031, month, 31)).words for month in (10, 12)
    )
    assert "No bin needs a hand at present" in before
    assert "Ready about 1 December 2031" in before
    assert "1 of 1 bin could do with a visit: Tub." in after
    assert "Should have been ready about 1 December 2031: look again" in after
    assert "its curve has no photo since 1 November 2031: look again." in after
    assert "Ready about" not in after


def test_an_empty_trial_says_so(tmp_path):
    page = page_of(tmp_path, scores=[a_score(leaf=None, flags=Flag.NO_CARD)], courses=[])
    assert "No bin can be shown yet" in page.words
    assert "0 bins, 1 photo" in page.words


def test_one_check_in(tmp_path):
    page = page_of(tmp_path, scores=[a_score()], courses=[a_course(covers=(80.0,), status="too-early")])
    assert "Too early" in page.words
    assert "1 bin, 1 photo, 4 October 2031" in page.words


def test_bins_without_curve_or_check_ins(tmp_path):
    courses = [a_course("Tub"), a_course("Crate", covers=(), status="too-early")]
    page = page_of(tmp_path, courses=courses)
    assert "No photo of this bin could be used" in page.words


def test_topped_up_bin_names_the_check_in_with_fresh_leaf(tmp_path):
    course = a_course(covers=(80.0, 20.0, 60.0, 40.0), batches=(2,), status="topped-up")
    assert "Fresh leaf was added." in page_of(tmp_path, courses=[course]).words


def test_kinds_of_leaf_are_held_against_each_other_where_there_are_two(tmp_path):
    covers = {"hazel": (90.0, 66.0, 37.0, 19.0, 9.0), "plane": (90.0, 85.0, 78.0, 72.0, 65.0)}
    places = [("hazel", 1), ("hazel", 2), ("plane", 1)]
    bins = [a_course(name=f"{leaf} {n}", leaf=leaf, covers=covers[leaf]) for leaf, n in places]
    page = page_of(tmp_path, courses=bins)
    assert re.search(r"Hazel went \d\.\d times as fast as plane \(\d\.\d to \d\.\d\)\.", page.words)
    assert "but one bin of plane" in page.words
    assert any("kind of leaf" in image["alt"] for image in page.all("img"))
    assert "Which leaf is faster" not in page_of(tmp_path, courses=bins[:1]).words


def test_the_page_says_beside_the_sentence_which_bin_has_stalled(tmp_path):
    covers = {"hazel": (90.0, 66.0, 37.0, 19.0, 9.0), "plane": (90.0, 85.0, 78.0, 72.0, 65.0)}
    bins = [
        a_course(
            name=f"{leaf} bin", leaf=leaf, covers=seen, status="stalled" if leaf == "plane" else "on-course"
        )
        for leaf, seen in covers.items()
    ]
    words = page_of(tmp_path, courses=bins).words
    assert re.search(r"is the leaf\. But plane bin has stalled: its pace tells of the bin", words)


def test_forty_bins(tmp_path):
    statuses = [list(LOOKS)[n % len(LOOKS)] for n in range(40)]
    page = page_of(
        tmp_path,
        courses=[a_course(f"Bin {n}", status=s, remedies=(f"Bin {n} says",)) for n, s in enumerate(statuses)],
    )
    assert len(page.all("article")) == 40
    shown = [int(name) for name in re.findall(r"Bin (\d+) says", page.words)]
    ranks = [LOOKS[statuses[n]].urgency for n in shown]
    assert len(shown) == 40
    assert ranks == sorted(ranks), "the bins that need somebody stand first"
    assert not any("open" in attrs for attrs in page.all("details")), "tables are folded where there are many"


def test_bins_of_one_name_in_two_cases_keep_their_own_photos(tmp_path):
    write_photo(tmp_path / "a.jpg")
    page = page_of(
        tmp_path, scores=[a_score("a.jpg", name="tub")], courses=[a_course("Tub"), a_course("tub")]
    )
    assert len([img for img in page.all("img") if img["alt"].startswith("Surface of")]) == 1


def test_it_can_be_read_by_everybody(tmp_path):
    page = full_page(tmp_path)
    assert page.all("html") == [{"lang": "en"}]
    assert any(meta.get("name") == "viewport" for meta in page.all("meta"))
    assert all(image.get("alt") for image in page.all("img"))
    assert all(header.get("scope") in {"col", "row"} for header in page.all("th"))
    headings = [int(tag[1]) for tag, _ in page.elements if re.fullmatch(r"h[1-6]", tag)]
    assert headings[0] == 1
    assert headings.count(1) == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(headings))


def test_links_lead_somewhere(tmp_path):
    page = full_page(tmp_path)
    ids = Counter(page.values("id"))
    assert max(ids.values()) == 1
    assert all(address[1:] in ids for address in page.values("href"))
    assert all(name in ids for name in page.values("aria-labelledby"))


def test_methods_are_named_and_a_mixture_is_warned_of(tmp_path):
    one = page_of(tmp_path, scores=[a_score(method="m1")])
    two = page_of(tmp_path, scores=[a_score(method="m1"), a_score(method="m2")])
    assert "Method: m1" in one.words
    assert "more than one method" in two.words


def test_a_page_of_three_bins_and_eight_check_ins_is_under_three_megabytes(tmp_path):
    scores = []
    for name in ("hedge", "tub", "crate"):
        for n in range(8):
            photo = f"{name}/{n}.jpg"
            write_photo(tmp_path / photo, seed=n)
            write_photo(tmp_path / "out" / photo, seed=n + 100)
            scores.append(a_score(photo, name=name, overlay=photo, date=date(2031, 10, 1 + n)))
    courses = [a_course(name, covers=(80.0,) * 8) for name in ("hedge", "tub", "crate")]
    path = write_report(trial=a_trial(tmp_path), scores=scores, courses=courses, out=tmp_path / "out")
    assert path == tmp_path / "out" / "report.html"
    assert path.stat().st_size < 3_000_000
    assert path.read_text(encoding="utf-8").count("data:image/jpeg") == 48


def test_a_folder_that_cannot_be_written_is_said(tmp_path):
    with pytest.raises(OutputError):
        write_report(trial=a_trial(tmp_path), scores=[], courses=[], out=tmp_path / "gone")


def test_the_card_of_a_bin_with_fresh_leaf_shows_its_cover(tmp_path):
    page = page_of(tmp_path, courses=[a_course(covers=(80.0, 20.0, 45.0), batches=(2,))])
    assert "45% of the surface under leaf (42 to 48%)" in page.words
    assert "56% left" not in page.words


def test_the_card_of_a_bin_that_began_nearly_bare_shows_its_cover(tmp_path):
    page = page_of(tmp_path, courses=[a_course(covers=(3.0, 4.0, 3.0))])
    assert "3% of the surface under leaf (0 to 6%)" in page.words


def test_the_card_of_a_first_check_in_has_no_range(tmp_path):
    page = page_of(tmp_path, courses=[a_course(covers=(80.0,))])
    assert "100% left" in page.words
    assert "100 to 100%" not in page.words


def test_check_ins_that_do_not_fit_are_told_of_at_the_top(tmp_path):
    page = page_of(tmp_path, courses=[a_course(flags=Flag.OFF_CURVE)])
    assert "3 check-ins do not fit the other days of their bins" in page.words
    assert "do not fit" not in page_of(tmp_path, courses=[a_course()]).words
