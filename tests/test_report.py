"""The page: self-contained, readable, true to the march, the same bytes for the same study."""

from __future__ import annotations

import html
import re
import shutil
import subprocess
import xml.etree.ElementTree as ElementTree
from collections import Counter
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from scenarios.answer import CAUTION
from scenarios.report import bent, drawing, moment
from scenarios.report.drawing import pens
from scenarios.report.figures import room_figure
from scenarios.report.page import Figure, Page, Row, Section, Table, Text, render, write
from scenarios.report.sections import study_page
from scenarios.studies.assess import assess
from scenarios.studies.featured import find_features
from scenarios.studies.study import study_data
from sim.errors import InputError
from sim.plant.geometry import clearance_at, unloaded_clearance
from tests.brisk import Brisk, brisk

SVG = "{http://www.w3.org/2000/svg}"
ALLOWED_ADDRESSES = {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}


@pytest.fixture(scope="module")
def small() -> Brisk:
    return brisk()


class Reader(HTMLParser):
    """Collects tags with their attributes, and the words that a reader sees."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def test_nothing_is_fetched_and_nothing_runs(small: Brisk) -> None:
    read = Reader(small.page)
    assert not {"script", "link", "iframe", "img", "object", "embed"} & {tag for tag, _ in read.tags}
    for _, attributes in read.tags:
        for name, value in attributes.items():
            assert not name.startswith("on")
            if name in ("src", "href", "xlink:href"):
                assert (value or "").startswith(("#", "data:image/png;base64,"))
    assert set(re.findall(r"https?://[^\"'\s<>)]+", small.page)) <= ALLOWED_ADDRESSES
    assert "@import" not in small.page


def test_every_id_is_unique_and_every_reference_meets_one(small: Brisk) -> None:
    ids = [a["id"] for _, a in Reader(small.page).tags if a.get("id")]
    assert [name for name, count in Counter(ids).items() if count > 1] == []
    wanted = set(re.findall(r"url\(#([^)]+)\)", small.page)) | set(re.findall(r'href="#([^"]+)"', small.page))
    assert wanted
    assert wanted <= set(ids)


def test_the_page_opens_with_the_verdict_and_tells_what_it_rests_on(small: Brisk) -> None:
    words = html.unescape(" ".join("".join(Reader(small.page).words).split()))
    data = small.answer.data
    assert words.index(data["verdict"]) < words.index("What room remains")
    for told in (CAUTION, data["configuration_hash"], f"Seed {data['seed']}", "certification body decides"):
        assert told in words
    for name, version in data["versions"].items():
        assert f"{name} {version}" in words
    for entry in data["controllers"]:
        assert entry["governing_case"] in words


def test_sensors_are_told_in_the_units_of_the_file(small: Brisk) -> None:
    rows = re.findall(r"<tr>(.*?)</tr>", small.page, re.DOTALL)
    told = {cells[0]: cells[1:3] for row in rows if (cells := re.findall(r"<td[^>]*>([^<]*)</td>", row))}
    assert told["azimuth"] == ["0.12", "0.2 deg"]
    assert told["rotor speed"] == ["0.12", "0.02 rpm"]
    assert told["root flap moment"] == ["0.12", "100 kN m"]
    assert told["last pass clearance"] == ["0.12", "0.15 m"]


def test_every_axis_of_every_figure_says_its_unit(small: Brisk) -> None:
    figures = [ElementTree.fromstring(svg) for svg in re.findall(r"<svg.*?</svg>", small.page, re.DOTALL)]
    assert len(figures) == 9
    for figure in figures:
        texts = ["".join(node.itertext()) for node in figure.iter(f"{SVG}text")]
        assert any(re.search(r"\[(m|m/s|deg|s|%|deg/h)\]|^passes$", text) for text in texts), texts


def test_the_same_study_gives_the_same_bytes(small: Brisk) -> None:
    judged = small.judged
    page = Path(small.answer.data["page"])
    again = replace(judged, entries=assess(small.scenario, judged.campaign.results))
    features = find_features(again.entries, small.store)
    text = render(study_page(small.scenario, again.entries, features, study_data(again, page)))
    assert text == small.page
    assert not re.search(r"20\d\d-\d\d-\d\d", text)


def test_words_of_the_user_are_escaped() -> None:
    parts = [Text("<b>bold</b>"), Table(["<i>"], [Row(["<u>"])]), Figure("<svg></svg>", "<em>")]
    text = render(Page("<n>", "<t>", "<w>", "<h>", "<v>", "#000", [Section("<s>", parts)], ["<r>"]))
    for tag in ("b", "i", "u", "em", "n", "t", "w", "h", "v", "s", "r"):
        assert f"<{tag}>" not in text
        assert f"&lt;{tag}&gt;" in text
    assert "<svg></svg>" in text


def test_a_page_that_cannot_be_written_is_the_users_to_mend(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match=r"cannot be written .* --out DIR"):
        write(tmp_path / "file" / "page.html", "")


def test_the_drawn_blade_leaves_the_clearance_that_the_march_found(small: Brisk) -> None:
    # Two ways to one number: numpy on the beam's own shapes here, compiled kernels on packed tables there.
    features = find_features(small.judged.entries, small.store)
    assert [item.entry.name for item in features.beside] == ["stiff", "softened", "guarded"]
    for item in features.beside:
        turbine = item.entry.gathered.entry.design
        state = bent.interpolate_state(item.trace.time_s, item.trace.state, item.time_s)
        drawn = bent.bend_blade(turbine, state, item.blade)
        outer = turbine.blade.r > moment.OUTER * turbine.rotor_radius
        assert float(np.min(drawn.clearance[outer])) == pytest.approx(item.clearance, abs=1e-3)


def test_the_unloaded_drawing_leaves_the_unloaded_clearance(small: Brisk) -> None:
    turbine = small.scenario.reference.design
    drawn = bent.unloaded_blade(turbine)
    assert float(drawn.clearance[-1]) == pytest.approx(unloaded_clearance(turbine), abs=1e-9)
    rows = clearance_at(turbine, np.pi, turbine.pitch.fine)
    assert np.allclose(drawn.clearance, rows, rtol=0.0, atol=1e-9)


def test_the_path_over_azimuth_goes_through_the_least_distance(small: Brisk) -> None:
    item = find_features(small.judged.entries, small.store).beside[0]
    where, value = moment.path_of(item)
    assert np.interp(item.azimuth - np.pi, where, value) == pytest.approx(item.clearance, abs=5e-3)
    assert value.min() == pytest.approx(item.clearance, abs=5e-3)
    assert where[0] < -0.25
    assert where[-1] > 0.25


def test_a_wind_of_many_faults_has_room_for_each_panel(recwarn) -> None:
    """The drawing library warns where panels collapse; every panel has its axis, each line its own."""
    names = [f"turbulence: fault number {n}" for n in range(21)]
    bins = [SimpleNamespace(condition=n, speed=12.0, characteristic=4.0, required=3.9) for n in names]
    labels = SimpleNamespace(condition=np.array(names), speed=np.full(21, 12.0))
    gathered = SimpleNamespace(labels=labels, column=lambda _: np.full(21, 4.0))
    entry = SimpleNamespace(name="power", verdict=SimpleNamespace(bins=bins), gathered=gathered)
    svg = room_figure([entry], pens(["power"]))
    assert not recwarn.list
    assert svg.count("clearance [m]") >= 4
    assert svg.count("wind speed [m/s]") >= 21


def test_entries_differ_in_more_than_colour() -> None:
    pens = drawing.pens([f"entry {number}" for number in range(5)])
    assert len({pen.colour for pen in pens.values()}) == 5
    assert len({(str(pen.dash), pen.width) for pen in pens.values()}) == 5


def test_a_study_of_which_every_case_failed_still_has_a_page(small: Brisk) -> None:
    judged = replace(small.judged, entries=assess(small.scenario, {}))
    features = find_features(judged.entries, small.store)
    data = study_data(judged, Path("page.html"))
    text = render(study_page(small.scenario, judged.entries, features, data))
    assert "Nothing can be said of guarded" in text
    assert "One pass closely" not in text


OVERLAPS = """<script>
const found = [];
document.querySelectorAll('svg').forEach((svg, n) => {
  const frame = svg.getBoundingClientRect();
  const boxes = [...svg.querySelectorAll('text')].map(t => [t.textContent, t.getBoundingClientRect()]);
  boxes.forEach(([text, b], i) => {
    if (b.left < frame.left - 1 || b.right > frame.right + 1) found.push(`figure ${n}: '${text}' is cut off`);
    boxes.slice(i + 1).forEach(([other, c]) => {
      const wide = Math.min(b.right, c.right) - Math.max(b.left, c.left);
      const high = Math.min(b.bottom, c.bottom) - Math.max(b.top, c.top);
      if (wide > 1.5 && high > 3) found.push(`figure ${n}: '${text}' meets '${other}'`);
    });
  });
});
document.querySelectorAll('.wide').forEach(d => {
  if (d.scrollWidth > d.clientWidth + 1) found.push('a table is wider than the page');
});
document.title = 'found ' + found.length + ' ' + found.join('; ');
</script></body>"""


ON_A_PHONE = """<script>
const page = document.documentElement, found = [];
if (page.scrollWidth > page.clientWidth) found.push('the page is wider than the phone');
document.querySelectorAll('figure svg').forEach((svg, n) => {
  const wide = svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
  if (wide < 0.9) found.push(`figure ${n} is drawn at ${wide}`);
});
document.querySelectorAll('.wide, .drawn').forEach((box, n) => {
  if (box.scrollWidth > box.clientWidth && getComputedStyle(box).overflowX !== 'auto') {
    found.push(`box ${n} cannot be scrolled`);
  }
});
parent.document.title = 'found ' + found.length + ' ' + found.join('; ');
</script></body>"""


def title_in_browser(file: Path) -> str:
    """Return the title that a page gives itself once its script has run."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        pytest.skip("no chromium on this machine")
    asked = [browser, "--headless", "--no-sandbox", "--disable-gpu", "--window-size=1100,900", "--dump-dom"]
    asked += ["--allow-file-access-from-files", file.as_uri()]
    ran = subprocess.run(asked, capture_output=True, text=True, timeout=120)
    title = re.search(r"<title>(.*?)</title>", ran.stdout, re.DOTALL)
    assert title is not None, ran.stderr[-500:]
    return html.unescape(title.group(1))


@pytest.mark.browser
def test_a_phone_shows_figures_at_reading_size_and_scrolls_what_is_wider(
    small: Brisk, tmp_path: Path
) -> None:
    """In a frame of 375 pixels: a browser without a screen opens no window that narrow."""
    (tmp_path / "page.html").write_text(small.page.replace("</body>", ON_A_PHONE), encoding="utf-8")
    frame = '<iframe src="page.html" style="width: 375px; height: 700px; border: 0"></iframe>'
    (tmp_path / "phone.html").write_text(f"<title>not run</title>{frame}", encoding="utf-8")
    assert title_in_browser(tmp_path / "phone.html").strip() == "found 0"


@pytest.mark.browser
def test_no_two_labels_overlap_in_a_browser(small: Brisk, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    page.write_text(small.page.replace("</body>", OVERLAPS), encoding="utf-8")
    assert title_in_browser(page).startswith("found 0"), title_in_browser(page)


def test_a_candidate_with_too_few_cases_is_not_called_broken(small: Brisk) -> None:
    data = small.answer.data
    few = replace(small.judged.entries[-1].verdict, holds=False, problems=("too few seeds",))
    few = replace(few, governing=replace(few.governing, characteristic=99.0))
    entries = [*small.judged.entries[:-1], replace(small.judged.entries[-1], verdict=few)]
    features = find_features(small.judged.entries, small.store)
    text = render(study_page(small.scenario, entries, features, data))
    assert "<strong>Not shown to hold.</strong>" in text
    assert "guarded: too few seeds." in text
