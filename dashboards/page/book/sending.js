// What waits on this device is sent from whatever room is open, and the page itself is kept, so that it opens in a barn without a network.
import { el, setClass, setText } from "../dom.js";
import { texts } from "../texts.js";
import { way } from "../ways.js";
import { begin, heard, queue, watch } from "./queue.js";

const said = texts.book.queue;

const settle = 8e3; // ms after the first look, which nothing may slow down; ours, no source

// keepSending begins it, with a line above main that says what waits. heard is to be told each state.
export function keepSending(main) {
  const { bar, draw } = makeBar();
  main.before(bar);
  watch(draw);
  begin();
  setTimeout(keepPage, settle);
  return { heard };
}

// keepPage lets the worker keep the page's files, where a browser allows one: over https, and at this machine's own address.
function keepPage() {
  import("../rooms/book.js").catch(() => {}); // an open page has the room when the network has gone, also without a worker
  if (globalThis.isSecureContext && "serviceWorker" in navigator) navigator.serviceWorker.register("sw.js", { updateViaCache: "none" }).catch(() => {});
}

// makeBar tells in every room that something waits; it leads to the book.
function makeBar() {
  const bar = el("a", { id: "waiting", href: way("book"), hidden: true });
  const draw = () => {
    const refused = queue.items.filter((i) => i.state === "refused").length;
    const waiting = queue.items.filter((i) => i.state === "waiting").length;
    bar.hidden = refused + waiting === 0;
    setClass(bar, refused > 0 ? "is-refused" : "");
    setText(bar, [refused > 0 ? said.barRefused(refused) : "", waiting > 0 ? said.barWaiting(waiting) : "", queue.needsLogin ? said.barLogIn : queue.items.find((i) => i.state === "waiting")?.why].filter(Boolean).join(" "));
  };
  return { bar, draw };
}
