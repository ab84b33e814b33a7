// Small helpers that make elements; nothing here knows of designs.

const SVG = "http://www.w3.org/2000/svg";

/** Makes an HTML element; functions among the attributes become listeners. */
export function make(tag, attributes = {}, ...children) {
  return fill(document.createElement(tag), attributes, children);
}

/** Makes an SVG element. */
export function draw(tag, attributes = {}, ...children) {
  return fill(document.createElementNS(SVG, tag), attributes, children);
}

function fill(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (typeof value === "function") element.addEventListener(name, value);
    else element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.filter((child) => child !== null && child !== undefined));
  return element;
}

/** Number with some digits, never "-0"; a dash where there is none. */
export function shown(value, decimals) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  const text = value.toFixed(decimals);
  return /^-0(\.0*)?$/.test(text) ? text.slice(1) : text;
}

/** The same with its sign where it is above nought. */
export function signed(value, decimals) {
  const text = shown(value, decimals);
  return value > 0 && /[1-9]/.test(text) ? `+${text}` : text;
}

/** Round steps of an axis from nought. */
export function steps(most, count) {
  const raw = most / count;
  const ten = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map((m) => m * ten).find((s) => s >= raw);
  const found = [];
  for (let at = 0; at <= most + step * 1e-9; at += step) found.push(at);
  return found;
}
