/* Bands on metrics: a low and a high edge each; designs outside any band are hidden. */
"use strict";

const plyBands = (() => {
  const { node, edge, fixed, niceStep, INK } = plyDraw;
  const BINS = 36, W = 108, H = 26;
  const { columns, n } = plyData;
  const set = new Map(); /* key -> {low, high}, null where open */
  const rows = new Map();
  const kept = new Uint8Array(n).fill(1);
  let changed = () => {};

  /* A value that stands on an edge is within the band, whatever its last digit; one that
     reads like an edge of as few digits is too, as people write what they read. */
  function near(value, decimals) {
    const counts = value * 10 ** decimals;
    const isRead = Math.abs(counts - Math.round(counts)) < 1e-6;
    return isRead ? 0.5 * 10 ** -decimals : 1e-9 * Math.max(1, Math.abs(value));
  }

  function filter() {
    kept.fill(1);
    for (const [key, { low, high }] of set) {
      const { values, decimals } = plyData.byKey.get(key);
      const from = low === null ? -Infinity : low - near(low, decimals);
      const to = high === null ? Infinity : high + near(high, decimals);
      for (let i = 0; i < n; i++) {
        if (!(values[i] >= from && values[i] <= to)) kept[i] = 0;
      }
    }
    let count = 0;
    for (let i = 0; i < n; i++) count += kept[i];
    return count;
  }

  function put(key, low, high) {
    if (low !== null && high !== null && low > high) [low, high] = [high, low];
    if (low === null && high === null) set.delete(key);
    else set.set(key, { low, high });
    show(key);
    changed();
  }

  function openAll() {
    const keys = [...set.keys()];
    set.clear();
    keys.forEach(show);
    changed();
  }

  function show(key) {
    const row = rows.get(key), band = set.get(key) || { low: null, high: null };
    const { decimals } = plyData.byKey.get(key);
    for (const side of ["low", "high"]) {
      if (document.activeElement !== row[side] || !row.isTyped) {
        row[side].value = band[side] === null ? "" : edge(band[side], decimals);
      }
    }
    row.open.disabled = !set.has(key);
    row.box.classList.toggle("is-set", set.has(key));
  }

  function words() {
    return [...set].map(([key, { low, high }]) => {
      const column = plyData.byKey.get(key), unit = column.unit ? ` ${column.unit}` : "";
      const from = edge(low, column.decimals), to = edge(high, column.decimals);
      const said = low === null ? `at most ${to}` : high === null ? `at least ${from}`
        : `${from} to ${to}`;
      return `${column.label} ${said}${unit}`;
    });
  }

  /* ---- the panel */

  function binOf(column, value) {
    const share = (value - column.least) / (column.most - column.least || 1);
    return Math.max(0, Math.min(BINS - 1, Math.floor(share * BINS)));
  }

  function mount(host, whenChanged) {
    changed = whenChanged;
    for (const column of columns) host.append(make(column));
    columns.forEach((column) => show(column.key));
  }

  function make(column) {
    const { key, decimals } = column;
    const step = niceStep(column.most - column.least || 1, 40);
    const field = (side) => node("input", {
      type: "number", step, class: side,
      placeholder: fixed(side === "low" ? column.least : column.most, decimals),
      "aria-label": `${column.heading}, ${side === "low" ? "lowest" : "highest"}`,
      on: {
        focus: (event) => event.target.select(),
        input: () => take(side, true),
        change: () => take(side, false),
        keydown: (event) => startFromRange(event, side),
      },
    });
    const canvas = node("canvas", { width: 2 * W, height: 2 * H, "aria-hidden": true,
      on: { pointerdown: (event) => drag(event, column),
        dblclick: () => put(key, null, null) } });
    const open = node("button", { type: "button", class: "open",
      "aria-label": `Open the band of ${column.label}`, title: "Open this band",
      on: { click: () => put(key, null, null) } }, "×");
    const row = { canvas, open, low: field("low"), high: field("high"),
      isTyped: false, all: new Uint32Array(BINS) };
    for (const value of column.values) {
      if (isFinite(value)) row.all[binOf(column, value)]++;
    }
    row.box = node("div", { class: "band", role: "group", "aria-label": column.heading },
      node("div", { class: "band-name", title: column.note }, column.heading, open),
      node("div", { class: "band-row" }, row.low, canvas, row.high));
    rows.set(key, row);
    return row.box;

    function take(side, isTyped) {
      const text = row[side].value, band = set.get(key) || { low: null, high: null };
      const value = text === "" ? null : Number(text);
      if (value !== null && !isFinite(value)) return;
      row.isTyped = isTyped;
      const next = { ...band, [side]: value };
      /* while a number is being typed its edge may still cross the other one */
      const crosses = next.low !== null && next.high !== null && next.low > next.high;
      if (!(isTyped && crosses)) put(key, next.low, next.high);
      row.isTyped = false;
    }

    function startFromRange(event, side) {
      if (!event.key.startsWith("Arrow") || row[side].value !== "") return;
      if (event.key !== "ArrowUp" && event.key !== "ArrowDown") return;
      row[side].value = fixed(side === "low" ? column.least : column.most, decimals);
    }
  }

  function drag(event, column) {
    const row = rows.get(column.key), box = row.canvas.getBoundingClientRect();
    const at = (x) => column.least + Math.max(0, Math.min(1, (x - box.left) / box.width)) *
      (column.most - column.least);
    const band = set.get(column.key) || { low: null, high: null };
    const low = band.low ?? column.least, high = band.high ?? column.most;
    const start = at(event.clientX);
    const side = Math.abs(start - low) <= Math.abs(start - high) ? "low" : "high";
    const round = (value) => Number(value.toFixed(column.decimals + 1));
    const move = (moved) => {
      const value = round(at(moved.clientX)), now = set.get(column.key) || band;
      put(column.key, side === "low" ? Math.min(value, now.high ?? Infinity) : now.low,
        side === "high" ? Math.max(value, now.low ?? -Infinity) : now.high);
    };
    const stop = () => {
      row.canvas.removeEventListener("pointermove", move);
      row.canvas.removeEventListener("pointerup", stop);
    };
    row.canvas.setPointerCapture(event.pointerId);
    row.canvas.addEventListener("pointermove", move);
    row.canvas.addEventListener("pointerup", stop);
    move(event);
  }

  function draw() {
    /* how the designs are spread: all in light grey, those within all bands in blue */
    for (const column of columns) {
      const row = rows.get(column.key), counts = new Uint32Array(BINS);
      const { values } = column;
      for (let i = 0; i < n; i++) if (kept[i]) counts[binOf(column, values[i])]++;
      const pen = row.canvas.getContext("2d");
      pen.setTransform(2, 0, 0, 2, 0, 0);
      pen.clearRect(0, 0, W, H);
      const most = Math.max(1, ...row.all), wide = W / BINS, base = H - 5;
      const X = (value) => W * (value - column.least) /
        (column.most - column.least || 1);
      for (let k = 0; k < BINS; k++) {
        /* roots keep the rare ones in sight */
        const tall = (count) => Math.sqrt(count / most) * (base - 2);
        pen.fillStyle = "#D5DAE0";
        pen.fillRect(k * wide, base - tall(row.all[k]), wide - 0.5, tall(row.all[k]));
        pen.fillStyle = "#2C6E91";
        pen.fillRect(k * wide, base - tall(counts[k]), wide - 0.5, tall(counts[k]));
      }
      if (column.low !== null || column.high !== null) {
        const from = Math.max(0, X(column.low ?? column.least));
        const to = Math.min(W, X(column.high ?? column.most));
        pen.fillStyle = "#9CC5B8";
        pen.fillRect(from, H - 4, Math.max(2, to - from), 4);
      }
      const band = set.get(column.key);
      if (band) {
        pen.fillStyle = "rgba(255,255,255,0.72)";
        if (band.low !== null) pen.fillRect(0, 0, X(band.low), base);
        if (band.high !== null) pen.fillRect(X(band.high), 0, W, base);
        pen.fillStyle = INK;
        for (const value of [band.low, band.high]) {
          if (value !== null) pen.fillRect(Math.min(W - 2, Math.max(0, X(value) - 1)), 0, 2, H);
        }
      }
    }
  }

  return { mount, filter, put, openAll, words, draw, kept, set };
})();
