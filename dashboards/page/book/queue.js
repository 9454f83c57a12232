// What a person has entered and nestmon does not have yet. Each send has a key that was made when the button was pressed: nestmon stores it
// once, however often it arrives. They go one after the other in the order in which they were pressed, and stay here until nestmon has said
// that they are stored, or that they cannot be. Only entries and chores wait. That somebody has seen an alarm is never kept for later: it
// would silence what nobody has seen by then.
import { can, login, say, sentence } from "../act.js";
import { deviceName, keep, recall } from "../device.js";
import { el } from "../dom.js";
import { texts } from "../texts.js";
import { openStore } from "./store.js";

const patience = 15e3; // ms for the daemon to answer; it gives up after 10 s itself
const tryEvery = 20e3; // ms between tries while something waits
const longest = 300 * 86400e3; // ms that a send may wait: nestmon knows its key for a year. Ours, no source
const clocksAgree = 60e3; // ms by which two clocks may differ without a word
const stampIn = "nestmon.skew";

let items = []; // in order; each {key, seq, rows, by, what, nest, litter, on, state: waiting|refused|unusual, tried, undone, why, error, row, field, form, stored, doubts}
let sending = null;
let needsLogin = false;
let forgets = false;
const watchers = new Set();
const read = remembered();

async function remembered() {
  const store = await openStore();
  forgets = Boolean(store.forgets);
  items = (await store.all()).sort((a, b) => a.seq - b.seq);
  tell();
  return store;
}

export const queue = {
  get items() {
    return items;
  },
  get needsLogin() {
    return needsLogin;
  },
  get forgets() {
    return forgets;
  },
};

// watch has f called when something of the queue changes, and with what was stored.
export function watch(f) {
  watchers.add(f);
}

const tell = (stored = null) => watchers.forEach((f) => f(stored));

// held: an earlier send about the same nest or litter was refused, and this one may lean on it.
export const held = (item) => items.some((o) => o.seq < item.seq && o.state === "refused" && (same(o.nest, item.nest) || same(o.litter, item.litter)));
const same = (a, b) => a !== undefined && a !== null && a !== "" && a === b;

// heard takes the time from a state of the daemon: what is entered must lie on its clock.
export function heard(state) {
  if (state.clock_synced) keep(stampIn, String(Date.parse(state.time) + state.published_ago_s * 1e3 - Date.now()));
  wake();
}

// now is the time on the daemon's clock, as far as this device knows.
export function now() {
  const skew = Number(recall(stampIn));
  return Date.now() + (Math.abs(skew) > clocksAgree ? skew : 0);
}

const newKey = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");

const bounce = 2e3; // ms in which a button that is pressed again was pressed once: a gloved finger, a cracked glass. Ours, no source
let pressed = { same: "", at: -Infinity, item: null };

// press keeps what a person entered at this moment, and sends it as soon as it can be. rows that say no time happened now. It returns the send.
export function press(what) {
  const same = JSON.stringify([what.rows, what.nest, what.litter]);
  if (same !== pressed.same || performance.now() - pressed.at > bounce) pressed = { same, item: take(what) };
  pressed.at = performance.now();
  return pressed.item;
}

async function take({ rows, what, nest = null, litter = null, form = null, place = null, undoable = true }) {
  const store = await read;
  const on = new Date(now()).toISOString();
  const item = {
    key: newKey(), seq: place ?? Math.max(Date.now(), (items.at(-1)?.seq ?? 0) + 1), by: deviceName(), what, nest, litter, on, form,
    rows: rows.map((r) => (r.on || r.replaces ? r : { ...r, on })), state: "waiting", tried: false, undone: false, undoable,
  };
  try {
    await store.put(item);
  } catch {
    forgets = item.unkept = true; // the device is full: it is in memory, and the page says so
  }
  items = [...items, item].sort((a, b) => a.seq - b.seq);
  navigator.storage?.persist?.();
  tell();
  flush(true);
  return item;
}

async function change(item, what) {
  const mine = items.find((o) => o.key === item.key); // the list may have been read anew
  Object.assign(item, what);
  if (!mine) return;
  Object.assign(mine, what);
  if (!mine.unkept) await (await read).edit(mine.key, (kept) => kept && { ...kept, ...what }).catch(() => (forgets = true));
}

async function drop(item) {
  items = items.filter((o) => o.key !== item.key);
  await (await read).remove(item.key).catch(() => (forgets = true));
  tell();
}

// outcome waits for what becomes of a send, but not for long: it goes on without anybody looking.
export function outcome(item, ms) {
  return new Promise((good) => {
    const look = () => {
      if (!item.stored && item.state === "waiting" && item.why === undefined) return false;
      watchers.delete(look);
      clearTimeout(timer);
      good(item);
      return true;
    };
    const timer = setTimeout(() => {
      watchers.delete(look);
      good(item);
    }, ms);
    if (!look()) watchers.add(look);
  });
}

// throwAway forgets what was refused, or an unusual thing that is right.
export function throwAway(item) {
  pressed.same = "";
  return drop(item);
}

// again sends what was refused once more: the reason may have gone.
export async function again(item) {
  await change(item, { state: "waiting", error: "", why: "" });
  tell();
  flush(true);
}

// undo takes back what was pressed: it is not sent, or struck when it is stored.
export async function undo(item) {
  pressed.same = "";
  if (item.stored) {
    await strike(item);
    return;
  }
  const gone = (kept) => !kept.tried || kept.state === "refused";
  const later = { tried: true, undone: true };
  // What is not there was stored by another window: it is sent once more, to learn what to strike.
  const left = item.unkept ? (gone(item) ? null : later) : await (await read).edit(item.key, (kept) => (kept && gone(kept) ? null : { ...item, ...kept, ...later }));
  if (!left) {
    await drop(item);
    say(texts.book.queue.taken(item.what), "good");
    return;
  }
  Object.assign(item, later);
  items = [...items.filter((o) => o.key !== item.key), item].sort((a, b) => a.seq - b.seq);
  say(texts.book.queue.takenLater(item.what), "");
  flush(true);
}

// strike takes back what is stored. Of a fostering both sides go with one.
async function strike(item) {
  const out = item.stored.filter((e, _, all) => !(e.what === "fostered-in" && all.some((o) => o.what === "fostered-out")));
  await press({ rows: out.map((e) => ({ what: "struck", replaces: String(e.id) })), what: texts.book.queue.struck(item.what), nest: item.nest, litter: item.litter, undoable: false });
}

// wake sends what waits, where nobody has just pressed anything.
const wake = () => {
  if (items.some((i) => i.state === "waiting")) flush(false);
};

// logIn asks for the password, and goes on.
export async function logIn() {
  needsLogin = false;
  await flush(true);
}

// flush sends everything that waits. person is true where somebody looks on and can log in.
function flush(person) {
  const mine = (sending ?? Promise.resolve()).then(() => run(person)).finally(() => {
    if (sending === mine) sending = null;
  });
  sending = mine;
  return mine;
}

async function run(person) {
  await read;
  for (;;) {
    const item = items.find((i) => i.state === "waiting" && !held(i));
    if (!item || (needsLogin && !person)) return;
    if (Date.now() - item.seq > longest) {
      await change(item, { state: "refused", error: texts.book.queue.tooOld });
      tell();
      continue;
    }
    if (!(await send(item, person))) return;
  }
}

// send reports whether the next one may go.
async function send(item, person) {
  // Before it leaves: whoever takes it back later, in whatever window, must know that it may have arrived.
  const kept = item.unkept ? item : await (await read).edit(item.key, (o) => o && { ...o, tried: true }).catch(() => item);
  if (!kept) { // another window took it back, or has sent it
    items = items.filter((o) => o.key !== item.key);
    tell();
    return true;
  }
  Object.assign(item, { undone: kept.undone, tried: true });
  tell();
  let status = 0;
  let said = {};
  try {
    const answer = await fetch("api/book/enter", {
      method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ key: item.key, by: item.by, entries: item.rows }), signal: AbortSignal.timeout(patience),
    });
    status = answer.status;
    said = await answer.json();
  } catch {
    if (status === 200) status = 0; // half an answer is none
  }
  if (status === 200 && Array.isArray(said.stored)) return stored(item, said);
  if ([400, 403, 409, 413, 422].includes(status)) {
    await change(item, { state: "refused", error: said.error ?? String(status), row: said.row ?? 0, field: said.field ?? "" });
    say(texts.doing.refused(texts.doing.failed(item.what), sentence(item.error)), "bad");
    tell();
    return true;
  }
  if (status === 401) {
    can.logged_in = false;
    if (person && (await login())) {
      needsLogin = false;
      can.logged_in = true;
      return true;
    }
    needsLogin = true;
  }
  const why = status === 401 ? texts.book.queue.nobody : status === 0 ? "" : said.error ?? String(status);
  await change(item, { why });
  if (person) say(texts.book.queue.kept(item.what), "kept", undoButton(item));
  tell();
  return false;
}

async function stored(item, said) {
  needsLogin = false;
  item.stored = said.stored;
  const kept = item.unkept ? null : (await (await read).all().catch(() => [])).find((o) => o.key === item.key);
  if (item.undone || kept?.undone) {
    await strike(item);
    await drop(item);
  } else if (said.doubts.length > 0) {
    await change(item, { state: "unusual", doubts: said.doubts, stored: said.stored });
    say(texts.doing.saved(item.what), "good", undoButton(item));
  } else {
    await drop(item);
    say(texts.doing.saved(item.what), "good", undoButton(item));
  }
  tell(item);
  return true;
}

// undoButton is beside what was said, for as long as that stays.
function undoButton(item) {
  if (!item.undoable || item.rows.some((r) => r.replaces)) return null;
  return el("button", { type: "button", class: "undo", text: texts.book.undo, "aria-label": texts.book.undoOf(item.what), onclick: () => undo(item) });
}

// begin keeps sending for as long as the page is open.
export function begin() {
  addEventListener("online", wake);
  document.addEventListener("visibilitychange", async () => {
    if (document.hidden || sending) return;
    const stored = await (await read).all(); // another window may have sent some
    if (sending) return;
    items = [...stored, ...items.filter((i) => i.unkept)].sort((a, b) => a.seq - b.seq);
    tell();
    wake();
  });
  setInterval(wake, tryEvery);
  read.then(wake);
}
