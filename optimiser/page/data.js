/* The designs of a page: unpacks what the page was written with. */
"use strict";

const plyData = (() => {
  const data = JSON.parse(document.getElementById("data").textContent);

  function unpack(text, Kind) {
    const raw = atob(text), bytes = new Uint8Array(raw.length);
    for (let i = 0; i < raw.length; i++) bytes[i] = raw.charCodeAt(i);
    return new Kind(bytes.buffer);
  }

  const n = data.ids.length;
  const all = unpack(data.values, Float64Array);
  const columns = data.columns.map((column, k) => {
    const values = all.subarray(k * n, (k + 1) * n);
    let least = Infinity, most = -Infinity;
    for (const value of values) {
      if (value < least) least = value;
      if (value > most) most = value;
    }
    const unit = column.unit ? ` [${column.unit}]` : "";
    return { ...column, values, least, most, heading: column.label + unit };
  });
  const exact = unpack(data.exact, Float32Array);
  const byKey = new Map(columns.map((column) => [column.key, column]));
  const indexOf = new Map(data.ids.map((id, i) => [id, i]));
  const lengths = unpack(data.lengths, Float64Array);
  const sampled = {};
  for (const key of ["EI", "GJ", "margin"]) {
    sampled[key] = { ...data[key], counts: unpack(data[key].data, Uint16Array) };
  }
  const first = unpack(data.flagFirst, Uint32Array);
  const flags = unpack(data.flagRows, Uint16Array);
  const mandrels = new Map(data.mandrels.map((mandrel) => [mandrel.name, mandrel]));
  const FIELDS = 7, STEP = 0.1;

  function along(i, key) {
    const m = data.shares.length, { counts, least, step } = sampled[key];
    return Array.from(counts.subarray(i * m, (i + 1) * m),
      (count) => count === 65535 ? null : least + count * step);
  }

  function profile(i) {
    return { station: data.shares.map((share) => share * lengths[i]),
      EI: along(i, "EI"), GJ: along(i, "GJ"), margin: along(i, "margin") };
  }

  function flagMap(i) {
    const rows = [];
    for (let k = first[i]; k < first[i + 1]; k++) {
      const [name, sheet, a, b, tip, butt, wraps] =
        flags.subarray(k * FIELDS, (k + 1) * FIELDS);
      const from = a * STEP - data.trimTip, to = b * STEP - data.trimTip;
      const made = data.flagSheets[sheet], turns = String(wraps / 1000);
      rows.push({ order: rows.length + 1, name: data.flagNames[name], kind: made.kind,
        angle: made.degrees, isPair: made.isPair,
        label: `${made.material}  ${made.angle}°  ${turns} wrap${turns === "1" ? "" : "s"}`,
        outline: [[from, 0], [from + tip * STEP, 1], [to - butt * STEP, 1], [to, 0]] });
    }
    const start = -data.trimTip, end = lengths[i] + data.trimButt;
    const mandrel = mandrels.get(data.mandrelOf[i]);
    const breaks = mandrel.distance
      .map((x, k) => [x - data.setOf[i], mandrel.diameter[k]])
      .filter(([x]) => x > start && x < end);
    return { rows, start, end, length: lengths[i], tipParallel: data.tipParallel,
      breaks };
  }

  function valuesOf(i) {
    return Object.fromEntries(columns.map((c) => [c.key, c.values[i]]));
  }

  function exactOf(i) {
    /* null where the run has kept none */
    const kept = columns.map((c, k) => [c.key, exact[k * n + i]])
      .filter(([, value]) => isFinite(value));
    return kept.length ? Object.fromEntries(kept) : null;
  }

  return { ...data, n, columns, byKey, indexOf, lengths, profile, flagMap, valuesOf, exactOf };
})();
