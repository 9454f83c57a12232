// The rooms of the page, and the way between them. Which room is open stands behind the # of the address, such as #/alarms or #/nest/b1, so
// that a link, the back button and a reload lead to the same place.
//
// A room is a module of rooms/. Its make(box) is called once, fills box, and returns what the page calls: open(words, state) when somebody
// comes in, with what stands behind the room's name in the address; update(state, old) after that and for every new state while it is open;
// redraw() when the unit or the colours have changed; shut() when somebody leaves. Only update must be there. A room asks for nothing while
// it is shut.
import * as now from "./rooms/now.js";
import { el, setText } from "./dom.js";
import { texts } from "./texts.js";
import { way, where } from "./ways.js";

const loaders = {
  now: async () => now, // the first that is seen
  book: () => import("./rooms/book.js"),
  alarms: () => import("./rooms/alarms.js"),
  probes: () => import("./rooms/probes.js"),
  settings: () => import("./rooms/settings.js"),
  nest: () => import("./rooms/nest.js"),
  compare: () => import("./rooms/compare.js"),
};

// The sheet of a room counts only while the room is open: what its parts are called there, such as group or field, is its own.
const sheets = { book: "book", alarms: "alarms", probes: "probes", settings: "settings", nest: "nest", compare: "nest" };
const doors = ["now", "book", "alarms", "probes", "settings"];

const rooms = new Map(); // name → {box, room}
let main = null;
let onEnter = () => {};
let current = { name: "", words: [] };
let coming = null; // the room that is being loaded

// openRooms makes the doors, follows the address from here on, and calls entered with the room whenever one has been opened.
export function openRooms(box, nav, entered) {
  main = box;
  onEnter = entered;
  nav.setAttribute("aria-label", texts.rooms.label);
  nav.append(...doors.map((name) => el("a", { href: way(name), "data-room": name }, el("span", { text: texts.rooms[name] }), el("b", { class: "count", hidden: true }))));
  addEventListener("hashchange", () => enter(true));
  return enter(false);
}

async function enter(byPerson) {
  const asked = where();
  const to = Object.hasOwn(loaders, asked.name) ? asked : { name: "now", words: [] };
  coming = to;
  let it = rooms.get(to.name);
  if (!it) {
    try {
      const module = await loaders[to.name]();
      it = rooms.get(to.name) ?? furnish(to.name, module);
    } catch {
      it = { box: missing(to.name), room: { update() {} } }; // tried again at the next coming
    }
    if (coming !== to) return;
  }
  rooms.get(current.name)?.room.shut?.();
  for (const box of main.querySelectorAll(":scope > .room")) box.hidden = box !== it.box;
  if (it.box.classList.contains("missing") && rooms.has(to.name)) it.box.remove();
  current = to;
  dress();
  for (const a of document.querySelectorAll("#doors a")) {
    if (a.dataset.room === to.name) a.setAttribute("aria-current", "page");
    else a.removeAttribute("aria-current");
  }
  document.body.dataset.room = to.name;
  onEnter(to.name, to.words, it.room);
  if (!byPerson) return;
  scrollTo(0, 0);
  main.focus({ preventScroll: true });
}

const links = new Map(); // of sheets

// dress brings the sheet of the room that is open, and takes the others off.
function dress() {
  const sheet = sheets[current.name];
  if (sheet && !links.has(sheet)) {
    links.set(sheet, el("link", { rel: "stylesheet", href: new URL(`rooms/${sheet}.css`, import.meta.url).href, onload: dress }));
    document.head.append(links.get(sheet));
  }
  for (const [name, link] of links) if (link.sheet) link.sheet.disabled = name !== sheet;
}

function furnish(name, module) {
  main.querySelector(`:scope > .missing[data-room=${name}]`)?.remove();
  const box = el("section", { class: "room", id: `room-${name}`, hidden: true });
  main.append(box);
  const it = { box, room: module.make(box) };
  rooms.set(name, it);
  return it;
}

// missing stands in for a room whose file cannot be had: a phone out of range, or a new program.
function missing(name) {
  main.querySelector(`:scope > .missing[data-room=${name}]`)?.remove();
  const box = el("section", { class: "room missing", "data-room": name }, el("p", { text: texts.rooms.missing }), el("button", { type: "button", text: texts.rooms.again, onclick: () => enter(true) }));
  main.append(box);
  return box;
}

// currentRoom is the room that is open, with the words of its address.
export const currentRoom = () => ({ ...current, room: rooms.get(current.name)?.room });

// count writes how many things wait behind a door; 0 writes nothing. words says it to whoever hears the page.
export function count(name, n, words) {
  const b = document.querySelector(`#doors [data-room=${name}] .count`);
  if (!b) return;
  b.hidden = n === 0;
  setText(b, n === 0 ? "" : String(n));
  if (n > 0) b.setAttribute("aria-label", words);
}
