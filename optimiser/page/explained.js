/* What each flag of a pinned design contributes, and what small changes of it do. */
"use strict";

const plyExplained = (() => {
  const { node, svg, fixed, inBand, LINES, NONE, INK, QUIET } = plyDraw;
  const { shares, metrics, moves, designs, words, nearest } = plyData.explained;
  const find = (id) => document.getElementById(id);
  const SHAFT = 0, ALL = -1;
  const FILL = "#5B8FB9", TRACK = "#EDEFF2";
  const open = new Set(); /* ids whose tables are shown */
  const looked = new Map(); /* id -> {flag, all} */

  /* a number keeps its unit on its line */
  const joined = (text) => text.replace(/(\d|N) (mm|m²)/g, "$1\u00a0$2");
  const panelId = (id) => `told-${id}`;
  const isTold = (i) => Object.hasOwn(designs, plyData.ids[i]);

  /* ---- on the card of a pinned design */

  function card(i, actions, command) {
    const id = plyData.ids[i];
    if (isTold(i)) {
      return [node("p", { class: "tell no-print" }, node("button", { type: "button",
        id: `explain-${id}`, "aria-controls": panelId(id), "aria-label": `Explain ${id}`,
        on: { click: () => reveal(id) } }, "Explain its flags"))];
    }
    const other = nearest[i], name = plyData.ids[other];
    const isPinned = actions.isPinned(other);
    return [command("Explanation", plyData.explainCommand.replace("@id@", id),
      actions.say),
    node("p", { class: "tell no-print" },
      node("span", { class: "quiet" }, "Nearest explained "),
      node("code", {}, name), " ",
      isPinned ? node("span", { class: "quiet" }, "pinned")
        : node("button", { type: "button", "data-design": `near-${id}`,
          "aria-label": `Pin ${name}, nearest explained to ${id}`,
          on: { click: () => {
            actions.toggle(other);
            /* this button is gone, what it was for is there */
            const next = find(`explain-${name}`);
            if (next) next.focus();
          } } }, "Pin"))];
  }

  function reveal(id) {
    const panel = find(panelId(id));
    panel.open = true;
    panel.scrollIntoView({ block: "start" });
    panel.querySelector("summary").focus({ preventScroll: true });
  }

  /* ---- the tables */

  function draw(state) {
    const told = state.pins.filter(({ i }) => isTold(i));
    const some = Object.keys(designs).length;
    find("told-words").textContent =
      `Explained on this page are ${some.toLocaleString("en")} of ` +
      `${plyData.n.toLocaleString("en")} designs: all picks, and others spread over ` +
      "the front." + (told.length < state.pins.length
        ? " For the others, the command on their card does it." : "");
    find("told").replaceChildren(...told.map(({ i, style }) => {
      const id = plyData.ids[i], line = LINES[style], inner = node("div");
      const panel = node("details", { class: "told", id: panelId(id),
        open: open.has(id), style: `border-color:${line.colour}` },
      node("summary", { "data-design": `told-${id}` },
        node("strong", {}, node("span", { style: `color:${line.colour}` }, line.mark), ` ${id}`),
        " shares of its flags, and what small changes do"), inner);
      let isMade = false;
      const made = () => {
        if (panel.open) open.add(id);
        else open.delete(id);
        find("explain").classList.toggle("none-open", !open.size);
        if (panel.open && !isMade) {
          isMade = true;
          fill(inner, i);
        }
      };
      panel.addEventListener("toggle", made);
      if (panel.open) made();
      return panel;
    }));
    for (const id of [...open]) if (!find(panelId(id))) open.delete(id);
    find("explain").classList.toggle("none-open", !open.size);
  }

  function fill(host, i) {
    const id = plyData.ids[i], told = designs[id], { rows } = plyData.flagMap(i);
    if (!looked.has(id)) looked.set(id, { flag: 1, all: false });
    const look = looked.get(id);
    const changes = node("div");
    const show = () => changes.replaceChildren(...tables(i, told, rows, look));
    const choice = node("select", { "data-design": `flag-${id}`,
      on: { change: (event) => { look.flag = Number(event.target.value); show(); } } },
    ...rows.map((row) => option(row.order, `${row.order} ${row.name}`, look)),
    option(SHAFT, "mandrel", look), option(ALL, "all, one below another", look));
    const all = node("input", { type: "checkbox", checked: look.all,
      on: { change: (event) => { look.all = event.target.checked; show(); } } });
    show();
    host.replaceChildren(
      node("div", { class: "scroll whole" }, sharesTable(told, rows)),
      ...told.notes.map((k) => node("p", { class: "quiet" }, words[k])),
      node("div", { class: "controls changes-of" },
        node("label", {}, "Small changes of ", choice),
        node("label", {}, all, " also metrics nobody asked for")),
      changes,
      node("p", { class: "quiet" }, "Each change by itself, all else as it is. Bars go " +
        "from the middle, to the right for more and, hollow, to the left for less; the " +
        "longest is the largest change of that metric by any small change of this " +
        "design but leaving a flag out. An arrow: it goes further."));
  }

  const option = (value, text, look) => node("option", { value,
    selected: look.flag === value }, text);

  function sharesTable(told, rows) {
    /* the last row has what is not of flags, if anything */
    const body = told.shares.map((values, k) => {
      const row = rows[k];
      if (!row && values.every((v) => v === null || fixed(v, 1) === "0.0")) return null;
      return node("tr", {},
        node("th", { scope: "row" }, row ? `${row.order} ${row.name}` : "not a flag",
          row ? node("span", { class: "made" }, row.label) : null),
        ...values.map((value) => node("td", { class: "value" },
          node("span", { class: "figure" }, fixed(value, 1)), share(value))));
    });
    return node("table", { class: "told-shares" },
      node("caption", {}, "Share of each flag in the design [%]"),
      node("thead", {}, node("tr", {}, node("th", { scope: "col" }, "Flag"),
        ...shares.map(({ label }) => node("th", { scope: "col" }, joined(label))))),
      node("tbody", {}, ...body));
  }

  function share(value) {
    const W = 66, H = 7;
    const strip = svg("svg", { width: W, height: H, class: "bar",
      "aria-hidden": "true" }, svg("rect", { width: W, height: H, fill: TRACK }));
    if (value) {
      const wide = W * Math.min(1, Math.abs(value) / 100);
      strip.append(value > 0
        ? svg("rect", { width: wide, height: H, fill: FILL })
        : svg("rect", { x: 0.5, y: 0.5, width: wide, height: H - 1, fill: "white",
          stroke: INK }));
    }
    return strip;
  }

  function tables(i, told, rows, look) {
    const shown = metrics.map((metric, k) => ({ ...metric, k }))
      .filter((metric) => look.all || metric.low !== null || metric.high !== null ||
        metric.trade || !plyData.byKey.has(metric.key));
    const longest = metrics.map((_, k) => Math.max(...told.changes
      .filter(([, move]) => moves[move] !== "left out")
      .map((change) => Math.abs(change[5][k] || 0))));
    const orders = look.flag === ALL ? [...rows.map((row) => row.order), SHAFT]
      : [look.flag];
    return orders.map((order) => {
      const row = rows[order - 1];
      const title = row ? `${row.order} ${row.name}, ${row.label}`
        : `mandrel ${plyData.mandrelOf[i]}, set ${fixed(plyData.setOf[i], 1)} mm`;
      return node("div", { class: "scroll whole" },
        changesTable(title, told, order, shown, longest));
    });
  }

  function changesTable(title, told, order, shown, longest) {
    const found = told.changes.filter((change) => change[0] === order);
    const heads = found.map(([, move, to]) => node("th", { scope: "col" },
      joined(moves[move]),
      /[^-]/.test(words[to]) ? node("span", { class: "made" }, joined(`to ${words[to]}`))
        : null));
    const body = shown.map((metric) => {
      const now = told.now[metric.k];
      const unit = metric.unit ? ` [${metric.unit}]` : "";
      return node("tr", {},
        node("th", { scope: "row", title: metric.note || null }, joined(metric.label + unit)),
        node("td", { class: "value now" }, fixed(now, metric.decimals)),
        ...found.map((change) => cell(metric, now, change[5][metric.k],
          longest[metric.k])));
    });
    const said = found.map(([, , , obstacle, leaves]) => [
      ...(words[obstacle] ? [words[obstacle]] : []),
      ...(words[leaves] ? [`leaves ${words[leaves].replaceAll("; ", ", ")}`] : []),
    ].join("; "));
    if (said.some(Boolean)) {
      body.push(node("tr", { class: "said" }, node("th", { scope: "row" }, "Notes"),
        node("td"), ...said.map((text) => node("td", {}, text || NONE))));
    }
    const wide = `width:${214 + 92 * found.length}px`;
    return node("table", { class: "told-changes", style: wide }, node("caption", {}, title),
      node("thead", {}, node("tr", {}, node("th", { scope: "col" }, "Change of"),
        node("th", { scope: "col", class: "now" }, "Now"), ...heads)),
      node("tbody", {}, ...body));
  }

  function cell(metric, now, change, longest) {
    const text = fixed(change, metric.decimals);
    const isSeen = /[1-9]/.test(text);
    const made = node("td", { class: isSeen ? "value" : "value nil" },
      node("span", { class: "figure" },
        isSeen && change > 0 ? `+${text}` : text.replace("-", "−")));
    if (isSeen) made.append(moved(change, longest));
    if (change !== null && inBand(metric, now) !== false &&
        inBand(metric, now + change) === false) {
      made.append(node("span", { class: "miss" }, "outside"));
    }
    return made;
  }

  function moved(change, longest) {
    const W = 66, H = 8, middle = W / 2, most = middle - 1;
    const strip = svg("svg", { width: W, height: H, class: "bar",
      "aria-hidden": "true" });
    const part = longest > 0 ? Math.abs(change) / longest : 0;
    const isMore = change > 0, isFurther = part > 1.0001 || (!longest && change);
    const wide = isFurther ? most : most * part;
    if (wide > 0) {
      const X = (x) => middle + (isMore ? x : -x);
      const tip = isFurther ? Math.max(0, wide - 5) : wide;
      strip.append(svg("polygon", {
        points: [[0, 1], [tip, 1], [wide, isFurther ? H / 2 : 1],
          [wide, isFurther ? H / 2 : H - 1], [tip, H - 1], [0, H - 1]]
          .map(([x, y]) => `${X(x).toFixed(1)},${y}`).join(" "),
        fill: isMore ? FILL : "white", stroke: isMore ? FILL : INK,
        "stroke-width": 0.8 }));
    }
    strip.append(svg("line", { x1: middle, x2: middle, y1: 0, y2: H, stroke: QUIET }));
    return strip;
  }

  return { card, draw };
})();
