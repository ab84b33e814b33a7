// Choosing a design of a run: its picks, then a short list that is sorted and searched.

import { make, shown } from "/assets/desk_draw.js";

const LISTED = 20; // designs that are listed at first, and more at a time

/** Puts the choice of a run's designs into a place. */
export function showChoice(place, start) {
  place.replaceChildren(make("h2", {}, `${start.title}: choose a design to change`),
    start.files.length ? make("p", {}, "Saved by hand: ", ...start.files.flatMap((file) => [make("a", { href: `/?file=${encodeURIComponent(file)}` }, file), " "])) : "");
  if (!start.designs.length) {
    place.append(make("p", { id: "none" }, start.none));
    return;
  }
  const picks = start.designs.filter((design) => design.picks.length);
  if (picks.length) {
    place.append(make("h3", {}, "Suggested"), table("picks", start, picks, true));
  }
  place.append(make("h3", {}, "All designs"), ...listOf(start));
}

function listOf(start) {
  let most = LISTED;
  const find = make("input", { id: "find", type: "search", spellcheck: "false", autocomplete: "off", placeholder: "beginning of an id",
    input: () => { most = LISTED; fill(); },
    keydown: (event) => {
      const met = found();
      if (event.key === "Enter" && find.value.trim() && met.length === 1) location.href = addressOf(met[0]);
    } });
  const by = make("select", { id: "sort-by", change: () => { way.value = start.columns[by.value].better === "more" ? "more" : "less"; fill(); } },
    ...start.columns.map((column, i) => make("option", { value: String(i) }, column.label)));
  const way = make("select", { id: "sort-way", "aria-label": "Which come first", change: () => fill() },
    make("option", { value: "less" }, "least first"), make("option", { value: "more" }, "most first"));
  const said = make("span", { id: "listed", class: "quiet", role: "status" });
  const more = make("button", { id: "more", click: () => { most += LISTED; fill(); } });
  const rows = make("div", { id: "designs" });
  const found = () => {
    const begun = find.value.trim().toLowerCase();
    return start.designs.filter((design) => design.id.toLowerCase().startsWith(begun));
  };
  const fill = () => {
    const sign = way.value === "more" ? -1 : 1;
    const met = found();
    // what has no value comes last either way
    const key = (design) => { const value = design.values[by.value]; return value === null ? Infinity : sign * value; };
    met.sort((a, b) => { const [x, y] = [key(a), key(b)]; return x === y ? 0 : x - y; });
    const listed = met.slice(0, most);
    rows.replaceChildren(listed.length ? table("", start, listed, false) : make("p", {}, `No design of this run begins with “${find.value.trim()}”.`));
    const count = (n) => n.toLocaleString("en");
    said.textContent = listed.length < met.length ? `${count(listed.length)} of ${count(met.length)} shown` : `${count(met.length)} shown`;
    more.hidden = listed.length === met.length;
    more.textContent = `Show ${Math.min(LISTED, met.length - listed.length)} more`;
  };
  // at first by what is traded, the best of it on top
  by.value = String(Math.max(0, start.columns.findIndex((column) => column.is_traded)));
  way.value = start.columns[by.value]?.better === "more" ? "more" : "less";
  fill();
  return [make("p", { class: "row" }, make("label", {}, "Find ", find),
    start.columns.length ? make("label", {}, "Sort by ", by) : "", start.columns.length ? way : "", said), rows, more];
}

const addressOf = (design) => `/?id=${encodeURIComponent(design.id)}`;

function table(id, start, designs, withPicks) {
  return make("div", { class: "scroll card" }, make("table", { id: id || null },
    make("thead", {}, make("tr", {}, make("th", { class: "left" }, "Design"), withPicks ? make("th", { class: "left" }, "Pick") : "",
      ...start.columns.map((column) => make("th", {}, column.label)))),
    make("tbody", {}, ...designs.map((design) => make("tr", {},
      make("td", { class: "left" }, make("a", { href: addressOf(design) }, design.id)),
      withPicks ? make("td", { class: "left why" }, ...design.picks.flatMap((pick) => [make("strong", {}, pick.title), make("div", { class: "quiet" }, pick.reason)])) : "",
      ...design.values.map((value, i) => make("td", {}, shown(value, start.columns[i].decimals))))))));
}
