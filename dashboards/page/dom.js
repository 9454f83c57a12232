// Small helpers for the document. Nothing here writes markup from text: every text becomes a text node.
import { inScale } from "./units.js";

// el makes an element; class, text and attributes in props, children after.
export function el(tag, props = {}, ...children) {
  const node = document.createElement(tag);
  for (const [key, value] of Object.entries(props)) {
    if (value === undefined || value === null || value === false) continue;
    if (key === "text") setText(node, value);
    else if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else node.setAttribute(key, value === true ? "" : value);
  }
  node.append(...children.filter((c) => c !== null && c !== undefined));
  return node;
}

// setText writes only what changed, so that a screen reader is not told the same thing twice.
export function setText(node, said) {
  const text = typeof said === "string" ? inScale(said) : said;
  if (node.textContent !== text) node.textContent = text;
}

export function setClass(node, name) {
  if (node.className !== name) node.className = name;
}

// keyed makes parent's children follow items: known keys keep their element, and nothing moves that need not.
export function keyed(parent, items, key, make, update) {
  const have = new Map();
  for (const child of [...parent.children]) {
    if (have.has(child.dataset.key)) child.remove(); // two items with one key: made anew each time, never heaped up
    else have.set(child.dataset.key, child);
  }
  const focused = document.activeElement;
  let at = parent.firstElementChild;
  for (const item of items) {
    const k = key(item);
    let node = have.get(k);
    have.delete(k);
    if (!node) {
      node = make(item);
      node.dataset.key = k;
    }
    while (at && have.get(at.dataset.key) === at && !items.some((i) => key(i) === at.dataset.key)) {
      const gone = at;
      at = at.nextElementSibling;
      have.delete(gone.dataset.key);
      gone.remove();
    }
    if (node === at) at = at.nextElementSibling;
    else parent.insertBefore(node, at);
    update(node, item);
  }
  for (const node of have.values()) node.remove();
  if (focused && focused !== document.activeElement && parent.contains(focused)) focused.focus({ preventScroll: true });
}

// shapes of the severities: they differ in outline, not only in colour.
const shapes = {
  urgent: "M8 1 15.5 14.5H.5z",
  warning: "M8 .5 15.5 8 8 15.5.5 8z",
  notice: "M8 1a7 7 0 1 0 0 14A7 7 0 0 0 8 1z",
  none: "M2 8.5 6 13 14.5 3.5",
  blind: "M2.5 2.5h11v11h-11z",
  quiet: "M3 2h4v12H3zM9 2h4v12H9z",
};

export function shape(name) {
  const ns = "http://www.w3.org/2000/svg";
  const svg = document.createElementNS(ns, "svg");
  svg.setAttribute("viewBox", "0 0 16 16");
  svg.setAttribute("class", `shape shape-${name}`);
  svg.setAttribute("aria-hidden", "true");
  const path = document.createElementNS(ns, "path");
  path.setAttribute("d", shapes[name]);
  svg.append(path);
  return svg;
}
