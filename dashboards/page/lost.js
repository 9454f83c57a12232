// A phone that was signed up and is not called any more must not look as if all were well: every room says it, from a while after the page has
// opened, and looks again whenever somebody comes back to the page.
import { el } from "./dom.js";
import { lost } from "./push.js";
import { texts } from "./texts.js";
import { way } from "./ways.js";

// watchPhone puts the word above main.
export function watchPhone(main) {
  if (!globalThis.isSecureContext || !("serviceWorker" in navigator && "caches" in globalThis && "Notification" in globalThis)) return; // it never was
  const word = el("a", { id: "lost", href: way("settings"), text: texts.push.lost, hidden: true });
  main.before(word);
  const look = async () => {
    const is = await lost();
    if (is !== null) word.hidden = !is;
  };
  document.addEventListener("visibilitychange", () => document.hidden || look());
  addEventListener("hashchange", look);
  look();
}
