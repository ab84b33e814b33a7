/* The review page: what is pinned, what is within the bands, and who shows it. */
"use strict";

(() => {
  const { node, fixed, LINES } = plyDraw;
  const { n, ids, columns, byKey, indexOf, picks } = plyData;
  const find = (id) => document.getElementById(id);
  const MOST = 4, ROWS = 60;
  const state = { axes: [...plyData.axes], pins: [], count: n };
  const scatter = find("scatter");
  let drawParallel = () => {};
  let asked = 0, later = 0, isBusy = false, isStale = false;

  function say(text) {
    find("said").textContent = text;
    clearTimeout(say.later);
    say.later = setTimeout(() => { find("said").textContent = ""; }, 6000);
  }

  /* ---- filtering: all views at once, at most once a frame */

  function filtered() {
    if (asked) return;
    asked = requestAnimationFrame(() => {
      asked = 0;
      state.count = plyBands.filter();
      plyBands.draw();
      shown();
      drawParallel(true);
      redrawScatter();
      /* texts can wait until the bands rest */
      clearTimeout(later);
      later = setTimeout(() => {
        list();
        plyPinned.heads(state, actions);
      }, 120);
    });
  }

  async function redrawScatter() {
    /* a new filter may come while the last is being drawn; only the newest counts */
    if (isBusy) { isStale = true; return; }
    isBusy = true;
    do {
      isStale = false;
      await plyViews.scatterFilter(scatter, state);
    } while (isStale);
    isBusy = false;
  }

  function shown() {
    const words = plyBands.words();
    find("shown").textContent =
      `${state.count.toLocaleString("en")} of ${n.toLocaleString("en")} designs` +
      (words.length ? ` within ${words.length} band${words.length > 1 ? "s" : ""}` : "");
    find("band-words").textContent = words.length
      ? `Bands set: ${words.join("; ")}.` : "No band is set: all designs are shown.";
    find("open-all").disabled = words.length === 0;
  }

  /* ---- pins */

  function toggle(i) {
    const at = state.pins.findIndex((pin) => pin.i === i);
    if (at >= 0) {
      state.pins.splice(at, 1);
      say(`${ids[i]} is let go.`);
    } else if (state.pins.length >= MOST) {
      say(`Four designs are pinned; let one go before ${ids[i]}.`);
      list();
      return;
    } else {
      const used = new Set(state.pins.map((pin) => pin.style));
      const style = LINES.findIndex((_, k) => !used.has(k));
      state.pins.push({ i, style });
      say(`${ids[i]} is pinned.`);
    }
    pinned();
  }

  function pinned() {
    const focus = document.activeElement && document.activeElement.dataset
      ? document.activeElement.dataset.design : undefined;
    plyPinned.heads(state, actions);
    plyPinned.body(state);
    plyViews.scatterPins(scatter, state);
    drawParallel(false);
    list();
    showPicks();
    if (focus) {
      const again = document.querySelector(`[data-design="${focus}"]`);
      if (again) again.focus();
    }
  }

  const isPinned = (i) => state.pins.some((pin) => pin.i === i);
  const actions = { toggle, say, isPinned };

  function pinButton(i, where) {
    const at = state.pins.find((pin) => pin.i === i);
    const text = at ? `${LINES[at.style].mark} pinned` : "Pin";
    return node("button", { type: "button", "data-design": `${where}-${ids[i]}`,
      "aria-pressed": at ? "true" : "false",
      "aria-label": at ? `Let ${ids[i]} go` : `Pin ${ids[i]}`,
      on: { click: () => toggle(i) } }, text);
  }

  function showPicks() {
    find("picks").replaceChildren(...picks.map((pick) => {
      const i = indexOf.get(pick.id);
      return node("li", {}, node("strong", {}, pick.title), " ",
        node("code", {}, pick.id), " ", i === undefined ? null : pinButton(i, "pick"),
        node("p", {}, pick.reason));
    }));
  }

  /* ---- the list */

  function list() {
    const by = byKey.get(find("sort-by").value), down = find("sort-down").checked;
    const rows = [];
    for (let i = 0; i < n; i++) if (plyBands.kept[i]) rows.push(i);
    const sign = down ? -1 : 1;
    rows.sort((a, b) => sign * (by.values[a] - by.values[b]) || a - b);
    const some = rows.slice(0, ROWS);
    const heads = columns.filter((column) => column.low !== null ||
      column.high !== null || column.trade || column.key === by.key);
    const left = rows.length - some.length;
    find("rows").replaceChildren(node("table", { class: "metrics" },
      node("caption", {}, rows.length === 0 ? "No design is within all bands."
        : left ? `First ${ROWS} of ${rows.length.toLocaleString("en")}` : ""),
      node("thead", {}, node("tr", {}, node("th", { scope: "col" }, "Design"),
        node("th", { scope: "col" }, ""),
        ...heads.map((column) => node("th", { scope: "col" }, column.heading)))),
      node("tbody", {}, ...some.map((i) => node("tr", {},
        node("th", { scope: "row" }, node("code", {}, ids[i])),
        node("td", {}, pinButton(i, "row")),
        ...heads.map((column) => node("td", { class: "value" },
          fixed(column.values[i], column.decimals))))))));
  }

  function pinFound() {
    const text = find("find").value.trim();
    const found = text ? ids.filter((id) => id.startsWith(text)) : [];
    const said = found.length === 1 ? ""
      : found.length ? `${found.length} designs begin so` : "no such design";
    find("find-said").textContent = said;
    if (found.length === 1) toggle(indexOf.get(found[0]));
  }

  /* ---- controls */

  function choices(select, chosen, none) {
    if (none) select.append(node("option", { value: "" }, none));
    for (const column of columns) {
      select.append(node("option", { value: column.key,
        selected: column.key === chosen }, column.label));
    }
  }

  function wire() {
    ["axis-x", "axis-y", "axis-colour", "axis-size"].forEach((id, k) => {
      const select = find(id);
      choices(select, state.axes[k], k > 1 ? "none" : null);
      select.addEventListener("change", () => {
        state.axes[k] = select.value;
        find("size-words").textContent = plyViews.sizeWords(state);
        plyViews.scatter(scatter, state, toggle);
        if (k === 2) drawParallel(false);
      });
    });
    choices(find("sort-by"), state.axes[0], null);
    find("sort-by").addEventListener("change", list);
    find("sort-down").addEventListener("change", list);
    find("open-all").addEventListener("click", plyBands.openAll);
    find("print").addEventListener("click", () => window.print());
    find("all-metrics").addEventListener("change", () => plyPinned.body(state));
    find("pin-found").addEventListener("click", pinFound);
    find("find").addEventListener("keydown", (event) => {
      if (event.key === "Enter") pinFound();
    });
    find("ids").append(...ids.map((id) => node("option", { value: id })));
    window.addEventListener("beforeprint", () => {
      for (const plot of document.querySelectorAll(".js-plotly-plot")) {
        Plotly.Plots.resize(plot);
      }
      drawParallel(false);
    });
    window.addEventListener("afterprint", () => {
      for (const plot of document.querySelectorAll(".js-plotly-plot")) {
        Plotly.Plots.resize(plot);
      }
      drawParallel(false);
    });
  }

  async function start() {
    find("title").textContent = `Review: ${plyData.name}`;
    wire();
    plyBands.mount(find("bands"), filtered);
    state.count = plyBands.filter();
    plyBands.draw();
    shown();
    /* the best compromise and two others; one place is left free */
    const first = [...picks].sort((a, b) =>
      Number(b.title === "Best compromise") - Number(a.title === "Best compromise"));
    for (const pick of first) {
      const i = indexOf.get(pick.id);
      if (i === undefined || state.pins.some((pin) => pin.i === i)) continue;
      if (state.pins.length < 3) state.pins.push({ i, style: state.pins.length });
    }
    find("size-words").textContent = plyViews.sizeWords(state);
    showPicks();
    list();
    drawParallel = plyViews.parallel(find("parallel"), state);
    await plyViews.scatter(scatter, state, toggle);
    drawParallel(false);
    plyPinned.heads(state, actions);
    await plyPinned.body(state);
    await plyViews.history(find("history"));
    const notes = [...plyData.cautions];
    if (plyData.state !== "done") {
      notes.unshift("The run was not over when this page was written.");
    }
    find("cautions").replaceChildren(...notes.map((text) => node("p", {}, text)));
    document.body.dataset.ready = "yes";
  }

  start();
})();
