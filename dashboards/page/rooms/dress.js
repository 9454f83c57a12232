// Style sheets that only some rooms need.
import { el } from "../dom.js";

const have = new Set();

// dressRoom loads the style sheet of a room, once.
export function dressRoom(name) {
  if (have.has(name)) return;
  have.add(name);
  document.head.append(el("link", { rel: "stylesheet", href: new URL(`${name}.css`, import.meta.url).href }));
}
