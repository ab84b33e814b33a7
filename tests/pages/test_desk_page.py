"""The edit page, driven in a browser: edits, drags, undo, saving, sheets."""

import re
from dataclasses import replace

import numpy as np
import pytest

from model import METRIC, METRICS, evaluate, read_design
from optimiser.desk import Desk
from optimiser.review import suggest
from optimiser.run import run_spec
from optimiser.store import Run
from optimiser.words import metric_heading, number
from tests.conftest import SCENARIOS
from tests.pages.browser import a_browser, need_browser
from tests.pages.desks import a_desk, served
from tests.unit.shown_shafts import a_spec, the_library

pytestmark = pytest.mark.usefixtures("brisk", "brisk_lays")

SHOWN = "#metrics td[data-metric]"


@pytest.fixture(scope="module")
def browser():
    need_browser()
    with a_browser() as browser:
        yield browser


@pytest.fixture
def desk(tmp_path):
    return a_desk(tmp_path)


@pytest.fixture
def visit(browser):
    """Opens pages; in the end none may have complained or asked a foreign host."""
    contexts, amiss = [], []

    def go(port, query=""):
        context = browser.new_context(viewport={"width": 1500, "height": 1000})
        contexts.append(context)
        page = context.new_page()
        own = f"http://127.0.0.1:{port}/"

        def look(request):
            if not request.url.startswith((own, "data:")):
                amiss.append(f"asked {request.url}")

        def hear(message):
            if message.type in ("error", "warning"):
                amiss.append(message.text)

        page.on("request", look)
        page.on("console", hear)
        page.on("pageerror", lambda error: amiss.append(str(error)))
        page.goto(own + query)
        return page

    yield go
    for context in contexts:
        context.close()
    assert amiss == []


@pytest.fixture
def page(desk, visit):
    with served(desk) as port:
        page = visit(port)
        page.wait_for_selector(SHOWN)
        yield page


def cell(page, k, column):
    """Cell of flag `k` from 0: name, material, angle, start, end, wraps, ..."""
    return page.locator(f'#flags tbody tr:nth-child({k + 1}) [data-cell="{column}"]')


def write(page, k, column, text):
    cell(page, k, column).fill(text)
    cell(page, k, column).press("Enter")


def settled(page):
    """Wait until what is shown is of the design as it is written."""
    until(
        page, lambda: page.evaluate("performance.getEntriesByName('edit to redraw')[0]")
    )
    page.wait_for_timeout(150)


def until(page, done, seconds=5.0):
    """Ask again and again; the page's own policy lets no predicate in."""
    for _ in range(int(seconds / 0.05)):
        if done():
            return
        page.wait_for_timeout(50)
    raise AssertionError("it did not come")


def shows(page, design, library, *, must_build=True):
    """Wait until the page shows what evaluating a design gives."""
    metrics = evaluate(design, library, must_build=must_build).metrics
    for metric in METRICS:
        if metric.key not in ("weight", "frequency", "torque", "durability"):
            continue
        text = f"{metrics[metric.key] * metric.scale:.{metric.decimals}f}"
        place = page.locator(f'[data-metric="{metric.column}"]', has_text=text)
        place.wait_for(timeout=5_000)


def with_flag(design, k, **keys):
    flag = replace(design.flags[k], **keys)
    return replace(design, flags=(*design.flags[:k], flag, *design.flags[k + 1 :]))


# ------------------------------------------------------------------------- editing


def test_an_edit_is_measured_undone_and_done_again(page, desk):
    design, library = read_design(desk.first), desk.library
    shows(page, design, library)
    assert page.locator("#undo").is_disabled()
    write(page, 3, 5, "2.5")
    heavier = with_flag(design, 3, wraps=2.5)
    shows(page, heavier, library)
    cell(page, 1, 1).select_option("standard-100")
    shows(page, with_flag(heavier, 1, material="standard-100"), library)
    page.locator("#undo").click()
    shows(page, heavier, library)
    assert cell(page, 1, 1).input_value() == "intermediate-100"
    page.keyboard.press("Control+z")
    shows(page, design, library)
    assert "not saved" not in page.locator("#standing").inner_text()
    page.keyboard.press("Control+Shift+Z")
    shows(page, heavier, library)
    assert cell(page, 3, 5).input_value() == "2.5"


def test_other_units_and_the_shaft(page, desk):
    design, library = read_design(desk.first), desk.library
    write(page, 0, 4, "17.5 in")
    design = with_flag(design, 0, end=0.4445)
    shows(page, design, library)
    field = page.locator('[data-key="mandrel_set"]')
    field.fill("85")
    field.press("Enter")
    shaft = replace(design.shaft, mandrel_set=0.085)
    shows(page, replace(design, shaft=shaft), library)


def test_an_end_is_dragged_in_one_step_of_undo(page, desk):
    design, library = read_design(desk.first), desk.library
    box = place_of(page, "4 start")
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    for i in range(1, 11):
        page.mouse.move(x - 6 * i, y)
    page.mouse.up()
    settled(page)
    start = float(cell(page, 4, 3).input_value())
    assert 450 < start < 640
    assert start == round(start)
    shows(page, with_flag(design, 4, start=start / 1e3), library)
    page.locator("#undo").click()
    shows(page, design, library)
    assert cell(page, 4, 3).input_value() == "650"
    assert page.locator("#undo").is_disabled()


def place_of(page, which):
    """Box of an end's handle, which every edit draws anew."""
    for _ in range(200):
        box = page.locator(f'[data-end="{which}"]').bounding_box()
        if box is not None:
            return box
        page.wait_for_timeout(20)
    raise AssertionError(f"no handle for {which}")


def test_an_end_never_leaves_the_shaft_or_its_other_end(page):
    box = place_of(page, "4 start")
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 3_000, y, steps=3)
    page.mouse.up()
    # its run-out of 100 mm is left
    assert float(cell(page, 4, 3).input_value()) <= 967
    box = place_of(page, "0 end")
    page.mouse.move(box["x"] + 5, box["y"] + 9)
    page.mouse.down()
    page.mouse.move(3_000, box["y"] + 9, steps=3)
    page.mouse.up()
    assert cell(page, 0, 4).input_value() == "1067"


def test_an_end_is_moved_by_the_keyboard(page, desk):
    page.locator('[data-end="0 end"]').focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowLeft")
    design = with_flag(read_design(desk.first), 0, end=0.442)
    shows(page, design, desk.library)
    assert cell(page, 0, 4).input_value() == "442"


def test_flags_come_go_and_move(page, desk):
    design, library = read_design(desk.first), desk.library
    page.get_by_label("Roll later, flag 3").click()
    a, b, hoop, body, *rest = design.flags
    moved = replace(design, flags=(a, b, body, hoop, *rest))
    shows(page, moved, library)
    assert cell(page, 3, 0).input_value() == "hoop"
    page.get_by_label("Take away, flag 5").click()
    less = replace(moved, flags=(a, b, body, hoop, *rest[1:]))
    shows(page, less, library)
    assert page.locator("#flags tbody tr").count() == 6
    page.get_by_label("Double, flag 4").click()
    again = replace(hoop, name="hoop again")
    shows(page, replace(less, flags=(a, b, body, hoop, again, *rest[1:])), library)
    page.locator("#add").click()
    assert page.locator("#flags tbody tr").count() == 8
    for _ in range(4):
        page.keyboard.press("Control+z")
    shows(page, design, library)


def test_what_is_amiss_is_marked_and_said(page, desk):
    write(page, 3, 5, "many")
    page.wait_for_selector("#faults:not([hidden])")
    assert "wraps" in page.locator("#faults").inner_text()
    assert "amiss" in cell(page, 3, 5).get_attribute("class")
    assert "stale" in page.locator("#measures").get_attribute("class")
    write(page, 3, 5, "2")
    page.locator("#faults").wait_for(state="hidden")
    shows(page, read_design(desk.first), desk.library)


def test_what_cannot_be_built_yet_is_measured_and_said(page, desk):
    write(page, 6, 5, "1")
    page.wait_for_selector("#faults:not([hidden])")
    assert "cannot be built yet" in page.locator("#faults").inner_text()
    assert "stale" not in page.locator("#measures").get_attribute("class")
    assert "cannot be built yet" in page.locator("#standing").inner_text()
    amiss = page.get_by_label("Tip diameter").get_attribute("class")
    assert amiss == "amiss"
    design, library = read_design(desk.first), desk.library
    thin = with_flag(design, 6, wraps=1.0)
    shows(page, thin, library, must_build=False)
    page.keyboard.press("Control+s")
    page.locator("#file-name").fill("thin")
    page.locator("#do-save").click()
    page.wait_for_selector("#not-yet")
    assert "too thin" in page.locator("#not-yet").inner_text()
    assert read_design(desk.folder / "thin.toml", library).flags[6].wraps == 1.0


def test_shares_follow(page):
    page.wait_for_selector("#shares tbody tr")
    before = page.locator("#shares tbody tr:nth-child(4) td:nth-child(2)").inner_text()
    write(page, 3, 5, "3")
    share = page.locator("#shares tbody tr:nth-child(4) td:nth-child(2)")
    until(page, lambda: share.inner_text() != before)
    column = page.locator("#shares tbody td:nth-child(3)").all_inner_texts()
    assert sum(map(float, column)) == pytest.approx(100.0, abs=0.3)
    page.locator("#shares tbody tr:nth-child(2)").click()
    assert "torque pair" in page.locator("#changes h2").inner_text()


def test_names_are_no_markup(page):
    write(page, 3, 0, "<img src=x onerror=document.body.remove()>")
    settled(page)
    assert page.locator("#map img, #shares img").count() == 0
    assert page.locator("#flags").is_visible()


# -------------------------------------------------------------------------- saving


def test_a_design_is_saved_and_opened_again(page, desk):
    write(page, 3, 5, "2.5")
    page.keyboard.press("Control+s")
    page.locator("#file-name").fill("heavier")
    assert "proof tests" in page.locator("#dialog").inner_text()
    page.locator("#do-save").click()
    page.locator("#go-on").click()
    saved = read_design(desk.folder / "heavier.toml")
    assert saved.flags[3].wraps == 2.5
    assert "not saved" not in page.locator("#standing").inner_text()
    page.reload()
    page.wait_for_selector(SHOWN)
    assert cell(page, 3, 5).input_value() == "2.5"
    # its own file is written over where that is asked for; another's is not
    write(page, 3, 5, "2.25")
    page.locator("#save").click()
    page.locator("#do-save").click()
    page.locator("#do-over").click()
    page.locator("#go-on").click()
    assert read_design(desk.folder / "heavier.toml").flags[3].wraps == 2.25
    before = desk.first.read_bytes()
    page.locator("#save").click()
    page.locator("#file-name").fill("fairway")
    page.locator("#do-save").click()
    page.locator("#dialog .said", has_text="there already").wait_for()
    assert desk.first.read_bytes() == before


def test_two_tabs_do_not_spoil_each_others_work(desk, visit):
    with served(desk) as port:
        one, two = visit(port), visit(port)
        for page, wraps in ((one, "2.5"), (two, "2.75")):
            page.wait_for_selector(SHOWN)
            write(page, 3, 5, wraps)
            page.locator("#save").click()
            page.locator("#do-save").click()
            page.locator("#do-over").click()
        one.locator("#go-on").wait_for()
        two.locator("#dialog .said", has_text="another page").wait_for()
        assert read_design(desk.first).flags[3].wraps == 2.5


def test_the_sheet_is_made_from_the_page(page, desk):
    page.locator("#sheet").click()
    # it says at once that it works on it
    assert "takes some seconds" in page.locator("#sheet-works").inner_text(timeout=500)
    page.wait_for_selector("#sheet-files a", timeout=60_000)
    assert "safety sheet" in page.locator("#dialog").inner_text()
    names = page.locator("#sheet-files a").all_inner_texts()
    for name in ("layup_sheet.pdf", "layup_sheet.xlsx", "patterns.dxf", "lays.pdf"):
        assert name in names
    folder = next(path for path in desk.folder.iterdir() if path.is_dir())
    assert {path.name for path in folder.iterdir()} == {*names, "made_from"}
    assert page.locator("#sheet-where").inner_text() == str(folder)
    page.locator("#sheet-close").click()
    page.locator("#sheet").click()
    page.locator("#sheet-over").wait_for()


def test_a_design_of_a_run_is_chosen_changed_and_saved(tmp_path, visit):
    spec = SCENARIOS / "hybrid_85" / "spec.toml"
    run = run_spec(spec, out=tmp_path / "run", evaluations=800)
    desk = Desk.of_run(run)
    with served(desk) as port:
        page = visit(port)
        page.wait_for_selector("#choose tbody tr")
        picks = suggest(run.front, run.spec, run.library.currency)
        shown = page.locator("#picks tbody a").all_inner_texts()
        assert shown == list(dict.fromkeys(pick.design_id for pick in picks))
        assert picks[0].reason in page.locator("#picks").inner_text()
        assert "Material cost [USD]" in page.locator("#picks").inner_text()
        assert page.locator("#designs tbody tr").count() == min(20, len(run.front))
        # sorted by the first metric that is traded, the best of it on top
        trade = run.spec.trades[0]
        column = run.front[METRIC[trade.metric].column]
        best = column.min() if trade.trade == "less" else column.max()
        heads = page.locator("#designs th").all_inner_texts()
        by = page.locator("#sort-by option:checked").inner_text()
        top = page.locator("#designs tbody tr").first.locator("td")
        assert by == metric_heading(METRIC[trade.metric], run.library.currency)
        text = top.nth(heads.index(by)).inner_text()
        assert text == number(best, METRIC[trade.metric].decimals)
        page.locator("#picks tbody a").first.click()
        page.wait_for_selector(SHOWN)
        identity = re.search(r"id=(\w+)", page.url)[1]
        assert page.locator("#standing").inner_text() == ""
        assert page.locator("#metrics .in").count() > 4
        page.get_by_label("Length", exact=True).wait_for()
        field = page.locator('[data-key="mandrel_set"]')
        field.fill("80.5")
        field.press("Enter")
        settled(page)
        page.locator("#save").click()
        page.locator("#do-save").click()
        page.locator("#go-on").click()
    (saved,) = (run.folder / "edited").glob("*.toml")
    design = read_design(saved)  # with the run's own library, from where it stands
    assert design.shaft.mandrel_set == pytest.approx(0.0805)
    assert design.library == "../library"
    # it does not go by the id of the one it was made from
    assert design.name == f"hybrid 85 {identity} changed"


@pytest.fixture(scope="module")
def many():
    """What a run of many designs gives to choose from, without its search."""
    numbers = np.random.default_rng(5).permutation(1_341)
    columns = [
        {"label": label, "decimals": decimals, "better": better, "is_traded": True}
        for label, decimals, better in (
            ("Torque [deg]", 2, "less"),
            ("Material cost [USD]", 2, "less"),
            ("Durability margin", 3, "more"),
        )
    ]
    designs = [
        {
            "id": f"{n:05x}{k:03x}",
            "picks": [{"title": "Cheapest", "reason": "It is."}] if k == 7 else [],
            "values": [float(n), float(k), None if k == 3 else k / 1_000],
        }
        for k, n in enumerate(int(n) for n in numbers)
    ]
    designs.sort(key=lambda design: not design["picks"])
    return {
        "title": "many",
        "opens": False,
        "columns": columns,
        "designs": designs,
        "none": "",
        "files": [],
        "folder": "somewhere",
    }


def test_many_designs_are_sorted_and_found_by_keys(desk, visit, many, monkeypatch):
    monkeypatch.setattr(Desk, "start", lambda _: many)
    with served(desk) as port:
        page = visit(port)
        rows = page.locator("#designs tbody tr")
        rows.first.wait_for()
        assert rows.count() == 20
        assert page.evaluate("document.documentElement.scrollHeight") < 1_500
        assert page.locator("#listed").inner_text() == "20 of 1,341 shown"

        def column(i):
            texts = page.locator(f"#designs td:nth-child({i})").all_inner_texts()
            return [float(text) for text in texts]

        assert column(2) == list(range(20))
        # the field, the choices, then the rows, all with the keyboard
        page.locator("#find").focus()
        page.keyboard.press("Tab")
        page.keyboard.press("ArrowDown")
        assert column(3) == list(range(20))
        page.keyboard.press("ArrowDown")  # where more is better, most come first
        assert column(4) == [(1_340 - k) / 1_000 for k in range(20)]
        page.keyboard.press("Tab")
        page.keyboard.press("ArrowUp")
        assert column(4) == [k / 1_000 for k in range(21) if k != 3]
        page.locator("#more").click()
        assert rows.count() == 40
        some = many["designs"][900]["id"]
        page.locator("#find").fill(some[:6].upper())
        told = [d["id"] for d in many["designs"] if d["id"].startswith(some[:6])]
        assert sorted(rows.locator("a").all_inner_texts()) == sorted(told)
        page.locator("#find").fill("zz")
        assert "No design of this run begins" in page.locator("#designs").inner_text()
        page.locator("#find").fill(some)
        page.keyboard.press("Enter")
        page.wait_for_url(f"**/?id={some}")


def test_an_empty_front_is_said_in_a_sentence(tmp_path, visit):
    spec = a_spec(tmp_path)
    library = the_library()
    (tmp_path / "run").mkdir()
    run = Run(folder=tmp_path / "run", spec=spec, library=library, about={})
    (run.folder / "explanation.txt").write_text("why", encoding="utf-8")
    desk = Desk.of_run(run)
    desk.warm_up()
    with served(desk) as port:
        page = visit(port)
        said = page.locator("#none").inner_text()
        assert "has found no design that keeps every band" in said
        assert "explanation.txt" in said
        assert page.locator("#choose table").count() == 0
