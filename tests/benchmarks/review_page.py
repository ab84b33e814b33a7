"""Time the review page with many designs: writing, size, loading, filtering.

Run: python tests/benchmarks/review_page.py RUN [--designs 5000] [--keep page.html]

The designs of a run are taken again and again, each time with slightly other values, up
to the number that is asked for. A browser without a graphics card draws the page, which
is the slow case. The latency of a filter is the time from a new edge of a band to the
frame that shows it.
"""

import argparse
import json
import re
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from optimiser.review_page import write_review
from optimiser.store import Run, open_run
from tests.pages.browser import a_browser

FILTERS = """async () => {
  const frame = () => new Promise(done =>
    requestAnimationFrame(() => requestAnimationFrame(done)));
  const field = document.querySelector('#bands input.high');
  const { least, most } = plyData.columns[0], spent = [];
  for (let k = 0; k < 25; k++) {
    const edge = least + (most - least) * (0.95 - 0.03 * (k % 20));
    const start = performance.now();
    field.value = edge.toFixed(3);
    field.dispatchEvent(new Event('input'));
    await frame();
    spent.push(performance.now() - start);
    await new Promise(done => setTimeout(done, 300));
  }
  return spent;
}"""


class Multiplied(Run):
    """A run whose front is shown again and again, slightly changed."""

    n = 5_000

    @property
    def front(self) -> pd.DataFrame:
        once = super().front
        times = -(-self.n // len(once))
        front = pd.concat([once] * times, ignore_index=True).iloc[: self.n]
        random = np.random.default_rng(1)
        numbers = front.select_dtypes("number").columns
        changed = 1.0 + 1e-3 * random.standard_normal((len(front), len(numbers)))
        front[numbers] *= changed
        again = np.arange(len(front)) // len(once)
        front["id"] = [
            f"{name}-{k}" if k else name
            for name, k in zip(front["id"], again, strict=True)
        ]
        return front

    @property
    def exact(self) -> pd.DataFrame:
        once = super().exact
        names = self.front["id"].astype(str)
        first = names.str.partition("-")[0]
        return (
            once.set_index("id")
            .reindex(first)
            .reset_index(drop=True)
            .assign(id=names.to_numpy())
        )

    @property
    def designs(self) -> dict[str, Path]:
        paths = super().designs
        return {name: paths[name.partition("-")[0]] for name in self.front["id"]}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("run", type=Path)
    parser.add_argument("--designs", type=int, default=5_000)
    parser.add_argument("--keep", type=Path)
    asked = parser.parse_args()
    once = open_run(asked.run)
    run = Multiplied(once.folder, once.spec, once.library, once.about, once.rows)
    run.n = asked.designs
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        path = write_review(asked.keep or Path(folder), run)[0]
        written = time.perf_counter() - start
        text = path.read_text(encoding="utf-8")
        data = re.search(r'id="data">(.*?)</script>', text)[1]
        with a_browser() as browser:
            page = browser.new_page(viewport={"width": 1366, "height": 768})
            start = time.perf_counter()
            page.goto(path.as_uri())
            page.wait_for_selector("body[data-ready=yes]")
            loaded = time.perf_counter() - start
            page.wait_for_timeout(1_000)
            spent = np.array(page.evaluate(FILTERS))
    print(f"designs          {len(json.loads(data)['ids']):,}")
    print(f"written in       {written:.1f} s")
    print(f"size             {len(text.encode()) / 1e6:.1f} MB")
    print(f"  of it data     {len(data) / 1e6:.1f} MB")
    print(f"loaded in        {loaded:.1f} s")
    print(
        f"filter           {np.median(spent):.0f} ms in the median, "
        f"{np.percentile(spent, 90):.0f} ms in nine of ten, {spent.min():.0f} ms least"
    )


if __name__ == "__main__":
    main()
