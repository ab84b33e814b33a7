"""The review page, driven in a browser from disk: bands, pins, copying, keys, paper."""

import base64
import io
import json
import re
import unicodedata

import numpy as np
import pandas as pd
import pypdf
import pytest

from model import METRIC, METRICS, evaluate, read_design
from optimiser.budget import Limits
from optimiser.explain import explain
from optimiser.review import suggest
from optimiser.review_page import SHARES, page_data, scaled, write_review
from optimiser.run import run_spec
from optimiser.store import open_run
from optimiser.words import CAUTIONS
from tests.conftest import SCENARIOS
from tests.pages.browser import a_browser, need_browser

pytestmark = pytest.mark.usefixtures("brisk", "few_explained")

READY = "body[data-ready=yes]"


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    folder = tmp_path_factory.mktemp("page")
    spec = folder / "spec.toml"
    # a name that would be markup if it were not written as text
    text = (SCENARIOS / "fairway_58" / "spec.toml").read_text(encoding="utf-8")
    spec.write_text(text.replace("fairway 58", "a </script><b>x"), "utf-8")
    run = run_spec(spec, out=folder / "a run", limits=Limits(evaluations=900))
    assert len(run.front) >= 8
    return run


@pytest.fixture(scope="module")
def file(run):
    return write_review(run.folder / "review", run)[0]


@pytest.fixture(scope="module")
def browser():
    need_browser()
    with a_browser() as browser:
        yield browser


@pytest.fixture(scope="module")
def opened(browser, file):
    """The page as opened from disk; in the end it has not complained or asked out."""
    context = browser.new_context(viewport={"width": 1366, "height": 768})
    page = context.new_page()
    amiss = []
    page.on("pageerror", lambda error: amiss.append(str(error)))
    page.on(
        "console",
        lambda said: amiss.append(said.text) if said.type == "error" else None,
    )
    page.on(
        "request",
        lambda asked: (
            None
            if asked.url.startswith((file.as_uri(), "data:", "blob:"))
            else amiss.append(asked.url)
        ),
    )
    page.goto(file.as_uri())
    page.wait_for_selector(READY)
    yield page, amiss
    context.close()


@pytest.fixture
def page(opened):
    """The page with all bands open; what is pinned stays."""
    page, amiss = opened
    page.evaluate("plyBands.openAll()")
    settle(page)
    yield page
    assert amiss == []


def shown(page):
    return int(page.inner_text("#shown").split(" of ")[0].replace(",", ""))


def settle(page):
    page.evaluate(
        "() => new Promise(done => requestAnimationFrame(() =>"
        " requestAnimationFrame(() => setTimeout(done, 250))))"
    )


# ------------------------------------------------------------------------ what is in it


def test_numbers_come_back_as_they_were_packed():
    values = np.array([[1.0, 2.5, np.nan], [np.inf, -3.0, 40.0]])
    data = scaled(values)
    counts = np.frombuffer(base64.b64decode(data["data"]), dtype="<u2").reshape(2, 3)
    back = np.where(counts == 65535, np.nan, data["least"] + counts * data["step"])
    known = np.isfinite(values)
    np.testing.assert_array_equal(np.isnan(back), ~known)
    np.testing.assert_allclose(back[known], values[known], atol=43.0 / 65534)
    assert scaled(np.full((1, 2), 7.0))["least"] == 7.0


def test_the_data_are_those_of_the_run(run):
    data = page_data(run, suggest(run.front, run.spec, "USD"))
    assert data["ids"] == run.front["id"].tolist()
    keys = [column["key"] for column in data["columns"]]
    values = np.frombuffer(base64.b64decode(data["values"]), dtype="<f8")
    values = values.reshape(len(keys), -1)
    torque = METRIC["torque"].column
    np.testing.assert_array_equal(values[keys.index(torque)], run.front[torque])
    column = data["columns"][keys.index(torque)]
    assert (column["low"], column["high"], column["trade"]) == (None, 4.6, "less")
    ei = next(column for column in data["columns"] if column["key"].startswith("ei_at"))
    assert (ei["low"], ei["high"]) == (24.44, 27.56)  # 26 less and more 6 %
    # exact values are those of the exact section
    name = data["picks"][0]["id"]
    report = evaluate(read_design(run.design_path(name), run.library), run.library)
    frequency = report.section.metrics["frequency"] * 60.0
    exact = np.frombuffer(base64.b64decode(data["exact"]), dtype="<f4")
    exact = exact.reshape(len(keys), -1)[keys.index("frequency_cpm")]
    assert exact[data["ids"].index(name)] == pytest.approx(frequency, rel=1e-6)


def test_the_file_is_whole_and_asks_for_nothing(run, file):
    text = file.read_text(encoding="utf-8")
    assert "default-src 'none'" in text
    assert not re.search(r'<(script|link|img)[^>]*\s(src|href)="', text)
    data = re.search(r'<script type="application/json" id="data">(.*?)</script>', text)
    assert json.loads(data[1])["name"] == run.spec.name
    assert "<title>Review: a &lt;/script&gt;&lt;b&gt;x</title>" in text
    picks = pd.read_csv(file.with_name("picks.csv"))
    assert picks["title"].tolist() == [p.title for p in suggest(run.front, run.spec)]


# ---------------------------------------------------------------------- what it does


def test_the_picks_are_pinned_and_a_fifth_design_is_not(page, run):
    picked = {p.design_id for p in suggest(run.front, run.spec)}
    pinned = page.locator(".pin strong").all_inner_texts()
    assert 1 <= len(pinned) <= 3
    assert all(text.split()[1] in picked for text in pinned)
    for button in page.locator("#rows button[aria-pressed=false]").all()[:2]:
        identity = button.get_attribute("aria-label").split()[-1]
        page.get_by_role("button", name=f"Pin {identity}").last.click()
    while page.locator(".pin").count() < 4:
        page.locator("#rows button[aria-pressed=false]").first.click()
    page.locator("#rows button[aria-pressed=false]").first.click()
    assert page.locator(".pin").count() == 4
    assert "let one go" in page.inner_text("#said")
    assert page.locator("#maps svg.flag-map").count() == 4
    assert page.evaluate("document.getElementById('plot-ei').data.length") == 5
    page.get_by_role("button", name="Let").first.click()
    assert page.locator("#maps svg.flag-map").count() == 3


def test_a_band_hides_designs_in_every_view(page, run):
    front = run.front
    n = len(front)
    assert shown(page) == n
    cost = METRIC["material_cost"]
    edge = round(float(front[cost.column].median()), 2)
    # what reads like the edge is within it
    expected = int((front[cost.column] <= edge + 0.005).sum())
    assert 0 < expected < n
    page.get_by_label("Material cost [USD], highest").fill(str(edge))
    settle(page)
    assert shown(page) == expected
    traces = page.evaluate(
        "document.getElementById('scatter').data.slice(0, 2).map(t => t.x.length)"
    )
    assert traces == [n - expected, expected]
    assert page.locator("#rows tbody tr").count() == min(expected, 60)
    assert (
        f"Material cost at most {edge:.2f} USD"
        in page.locator("#band-words").text_content()
    )
    page.get_by_label("Open the band of Material cost").click()
    settle(page)
    assert shown(page) == n


def test_a_band_keeps_what_reads_like_its_edge(page, run):
    for key in ("material_cost", "torque"):
        metric = METRIC[key]
        values = run.front[metric.column]
        heading = f"{metric.label} [{metric.unit or run.library.currency}]"
        field = page.get_by_label(f"{heading}, highest")
        # the least value as the page shows it, whichever way it was rounded
        field.fill(f"{values.min():.{metric.decimals}f}")
        settle(page)
        half = 0.5 * 10.0**-metric.decimals
        read = round(float(values.min()), metric.decimals)
        assert shown(page) == (values <= read + half).sum() >= 1
        # an edge of more digits means what it says
        field.fill(f"{values.min() - 1e-4:.6f}")
        settle(page)
        assert shown(page) == 0
        field.fill("")


def test_a_bound_of_nothing_is_drawn(page):
    parts = page.evaluate(
        "[0, 0.4].map(low => plyDraw.bandStrip({low, high: null}, 0.2, 0)"
        ".querySelectorAll('rect, line').length)"
    )
    assert parts[0] >= 3
    assert parts == [parts[0]] * 2


def test_a_drag_along_an_axis_sets_a_band(page, run):
    page.locator("canvas.parallel").scroll_into_view_if_needed()
    box = page.locator("canvas.parallel").bounding_box()
    n_axes = page.locator(".axis-heads > div").count()
    x = box["x"] + box["width"] * 0.5 / n_axes
    page.mouse.move(x, box["y"] + 60)
    page.mouse.down()
    page.mouse.move(x, box["y"] + 180, steps=6)
    page.mouse.up()
    settle(page)
    bands = page.evaluate("[...plyBands.set.entries()]")
    assert len(bands) == 1
    key, band = bands[0]
    inside = run.front[key].between(band["low"], band["high"]).sum()
    assert shown(page) == inside < len(run.front)
    page.mouse.dblclick(x, box["y"] + 100)
    settle(page)
    assert shown(page) == len(run.front)


def test_profiles_and_flags_are_those_of_the_design(page, run):
    identity = page.locator(".pin strong").first.inner_text().split()[1]
    report = evaluate(read_design(run.design_path(identity), run.library), run.library)
    line = page.evaluate(
        "plyData.profile(plyData.indexOf.get(arguments_))".replace(
            "arguments_", json.dumps(identity)
        )
    )
    x = np.array(SHARES) * report.design.shaft.length
    station = report.profile.station
    for key, there in (("EI", report.profile.EI), ("GJ", report.profile.GJ)):
        np.testing.assert_allclose(line[key], np.interp(x, station, there), rtol=1e-3)
    least = min(value for value in line["margin"] if value is not None)
    assert least == pytest.approx(report.metrics["durability"], abs=1e-3)
    rows = page.locator("#maps figure").first.locator(".flag-row title")
    said = rows.all_text_contents()
    assert len(said) == len(report.flags)
    for text, flag in zip(said, report.flags, strict=True):
        assert flag.name in text
        assert flag.material in text
    # what the trims add is drawn, and what is drawn is to scale
    first = page.evaluate(
        f"plyData.flagMap(plyData.indexOf.get({json.dumps(identity)})).rows"
        ".map(r => [r.outline[0][0], r.outline[3][0]])"
    )
    for (start, end), flag in zip(first, report.flags, strict=True):
        assert start == pytest.approx(flag.cut_station[0] * 1e3, abs=0.051)
        assert end == pytest.approx(flag.cut_station[-1] * 1e3, abs=0.051)


def test_exact_values_stand_where_they_read_otherwise(page, run):
    identity = page.locator(".pin strong").first.inner_text().split()[1]
    front = run.front.set_index("id").loc[identity]
    exact = run.exact.set_index("id").loc[identity]
    expected = [
        f"exact {exact[m.column]:.{m.decimals}f}"
        for m in METRICS
        if np.isfinite(exact[m.column])
        and f"{exact[m.column]:.{m.decimals}f}" != f"{front[m.column]:.{m.decimals}f}"
    ]
    shown = page.locator("#metrics tbody tr td:nth-child(3) .exact").all_inner_texts()
    assert sorted(shown) == sorted(expected)


def test_the_command_of_the_sheet_is_copied(page, run):
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    identity = page.locator(".pin strong").first.inner_text().split()[1]
    page.get_by_label("Copy: Layup sheet").first.click()
    page.wait_for_function("document.getElementById('said').textContent !== ''")
    text = page.evaluate("navigator.clipboard.readText()")
    assert text == f"plyfront sheet '{run.folder}' --design {identity}"
    assert text in page.inner_text("#said")


def test_keys_reach_bands_picks_and_rows(page, run):
    page.locator("#bands input").first.focus()
    page.keyboard.press("ArrowUp")
    settle(page)
    # the empty edge starts from the lowest value and rises by a step
    assert shown(page) < len(run.front)
    page.keyboard.press("Control+A")
    page.keyboard.press("Delete")
    settle(page)
    assert shown(page) == len(run.front)
    button = page.locator("#picks button").first
    button.focus()
    before = button.get_attribute("aria-pressed")
    page.keyboard.press("Space")
    again = page.locator("#picks button").first
    assert again.get_attribute("aria-pressed") != before
    assert again.evaluate("el => el === document.activeElement")
    page.locator("#find").fill(run.front["id"].iloc[-1][:9])
    page.keyboard.press("Enter")
    assert "pinned" in page.inner_text("#said") or "let go" in page.inner_text("#said")
    page.locator("#find").fill("zz")
    page.keyboard.press("Enter")
    assert page.inner_text("#find-said") == "no such design"


def pin_alone(page, identity):
    while page.locator(".pin").count():
        page.get_by_role("button", name="Let").first.click()
    page.locator("#find").fill(identity)
    page.keyboard.press("Enter")
    assert page.locator(".pin strong").inner_text().split()[1] == identity


def on_paper(page):
    content = page.pdf(prefer_css_page_size=True, print_background=True)
    paper = pypdf.PdfReader(io.BytesIO(content))
    # where lines break and letters are set closer is the browser's affair
    return paper, "".join(unspaced(p.extract_text()) for p in paper.pages)


def test_a_pinned_pick_is_explained_by_keys_and_on_paper(page, run):
    identity = suggest(run.front, run.spec)[0].design_id
    pin_alone(page, identity)
    assert "Share of each flag" not in page.inner_text("#pinned")
    page.get_by_role("button", name=f"Explain {identity}").focus()
    page.keyboard.press("Enter")
    panel = page.locator("#told details")
    assert panel.get_attribute("open") is not None
    summary = panel.locator("summary")
    assert summary.evaluate("el => el === document.activeElement")
    # shares and changes are those of explaining the design
    design = read_design(run.design_path(identity), run.library)
    found = explain(design, run.library, spec=run.spec)
    heads = panel.locator(".told-shares thead th").all_inner_texts()
    weights = [
        row.locator("td").nth(heads.index("Weight") - 1).inner_text()
        for row in panel.locator(".told-shares tbody tr").all()
    ]
    shares = found.shares["weight"].to_numpy() * 100.0
    assert weights[: len(design.flags)] == [
        f"{share:.1f}" for share in shares[: len(design.flags)]
    ]
    panel.locator("select").select_option("2")
    moves = found.moves
    cost = METRIC["material_cost"]
    of_cost = moves[(moves["order"] == 2) & (moves["what"] == cost.column)]
    row = panel.locator(".told-changes tbody tr").filter(has_text=cost.label)
    said = row.locator("td .figure").all_inner_texts()
    assert len(said) == len(of_cost)
    for text, change in zip(said, of_cost["difference"], strict=True):
        if np.isnan(change):
            assert text == "–"
        else:
            value = float(text.replace("−", "-"))
            assert value == pytest.approx(change, abs=0.501 * 10.0**-cost.decimals)
    heads = panel.locator(".told-changes thead th").all_inner_texts()
    assert any("0.5 wraps more" in unbroken(head) for head in heads)
    # all metrics are there if they are wanted, for every flag one below another
    n_asked = panel.locator(".told-changes tbody tr").count()
    panel.get_by_label("also metrics nobody asked for").check()
    assert panel.locator(".told-changes tbody tr").count() > n_asked
    panel.get_by_label("also metrics nobody asked for").uncheck()
    panel.locator("select").select_option("-1")
    assert panel.locator(".told-changes").count() == len(design.flags) + 1
    panel.locator("select").select_option("2")
    # nothing is cut off on a laptop
    for wide, room in page.evaluate(
        "[...document.querySelectorAll('#told .whole')]"
        ".map(e => [e.scrollWidth, e.clientWidth])"
    ):
        assert wide <= room
    assert page.evaluate("document.documentElement.scrollWidth") <= 1366
    paper, text = on_paper(page)
    assert len(paper.pages) <= 10
    assert unspaced("Share of each flag in the design [%]") in text
    assert unspaced(f"2 {design.flags[1].name}") in text
    assert unspaced("0.5 wraps more") in text
    summary.focus()
    page.keyboard.press("Enter")
    assert panel.get_attribute("open") is None
    assert unspaced("Share of each flag") not in on_paper(page)[1]


def test_a_design_that_is_not_explained_names_the_command(page, run):
    told = page.evaluate("Object.keys(plyData.explained.designs)")
    free = [name for name in run.front["id"] if name not in told]
    assert free, "the run has to have more designs than are explained"
    pin_alone(page, free[-1])
    command = page.get_by_label("Explanation", exact=True).input_value()
    assert command == f"plyfront explain '{run.folder}' --design {free[-1]}"
    assert page.locator("#told details").count() == 0
    page.locator(".pin").get_by_role("button", name="nearest explained").click()
    pinned = page.locator(".pin strong").all_inner_texts()
    assert len(pinned) == 2
    assert pinned[1].split()[1] in told
    assert page.locator("#told details").count() == 1
    focused = page.evaluate("document.activeElement.getAttribute('aria-label')")
    assert focused == f"Explain {pinned[1].split()[1]}"


def unbroken(text):
    return " ".join(text.split())


def test_axes_colour_and_size_can_be_chosen(page):
    frequency = METRIC["frequency"].column
    page.locator("#axis-x").select_option(frequency)
    page.locator("#axis-colour").select_option("")
    page.locator("#axis-size").select_option("")
    settle(page)
    title = page.evaluate("document.getElementById('scatter').layout.xaxis.title.text")
    assert title == "Frequency [cpm]"
    assert page.inner_text("#size-words") == ""


def test_fields_of_bands_stay_within_their_panel(page):
    assert (
        page.evaluate("""() => {
      const panel = document.querySelector('aside');
      return [...document.querySelectorAll('.band')].filter((band) => {
        const box = band.getBoundingClientRect();
        return [...band.querySelectorAll('input, canvas')].some((part) => {
          const { left, right, width } = part.getBoundingClientRect();
          return left < box.left || right > box.right || width < 45;
        });
      }).length + Number(panel.scrollWidth > panel.clientWidth);
    }""")
        == 0
    )
    assert "Hypervolume: the share of" in page.locator("#search").inner_text()


def test_it_fits_a_laptop_and_prints_with_cautions(page):
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= 1366
    paper, text = on_paper(page)
    assert len(paper.pages) <= 8
    assert all(unspaced(caution) in text for caution in CAUTIONS)
    assert unspaced("No band is set") in text
    assert unspaced("plyfront sheet") in text


def unspaced(text):
    return "".join(unicodedata.normalize("NFKC", text).split())


def test_it_works_without_a_graphics_card(browser, file):
    context = browser.new_context()
    context.add_init_script(
        "HTMLCanvasElement.prototype.getContext = (get => function (kind, ...rest) {"
        "return /webgl/.test(kind) ? null : get.call(this, kind, ...rest); })"
        "(HTMLCanvasElement.prototype.getContext)"
    )
    page = context.new_page()
    page.goto(file.as_uri())
    page.wait_for_selector(READY)
    kinds = page.evaluate("document.getElementById('scatter').data.map(t => t.type)")
    assert set(kinds) == {"scatter"}
    assert page.locator("#scatter .points path").count() > 0
    context.close()


def test_a_run_that_is_opened_again_writes_the_same_page(run, file):
    before = file.read_bytes()
    write_review(file.parent, open_run(run.folder))
    assert file.read_bytes() == before
