// What the book says, as nestmon last told it. It is kept on this device, so that the room opens where nestmon cannot be reached; then it
// says of when it is. Where somebody logs out, or has to log in to look, it goes.
import { openStore } from "./store.js";

const patience = 10e3; // ms
export const readEvery = 60e3; // ms between readings while the room is open

// fetched is {agenda, book, forms, site}, each as it came, and at: when the book came, in ms of this device's clock; null before.
// It is fresh while the last reading arrived and is not long ago: a device that slept shows what was.
const nothing = { agenda: null, book: null, forms: null, site: null, at: null, failed: "", arrived: false };
export const fetched = {
  ...nothing,
  get fresh() {
    return this.arrived && Date.now() - this.at < 2 * readEvery;
  },
};

let reading = null;
let again = false; // something was stored since a reading began
let forgotten = 0; // times: what was asked for before is not kept after

// recall gets what was kept. It never fails.
export async function recall() {
  if (fetched.book) return;
  const turn = forgotten;
  try {
    const kept = await (await openStore()).shown("book");
    if (kept && !fetched.book && turn === forgotten) Object.assign(fetched, kept, { arrived: false });
  } catch {
    // nothing is kept
  }
}

// forget removes what was read from the page and from the device, and reports whether there was anything. What waits to be sent stays.
export async function forget() {
  forgotten++;
  const had = fetched.book !== null;
  Object.assign(fetched, nothing);
  try {
    const store = await openStore();
    const kept = (await store.shown("book")) !== undefined;
    await store.forget();
    return had || kept;
  } catch {
    return had; // a device that cannot be read has nothing to show
  }
}

export async function ask(path) {
  const answer = await fetch(path, { signal: AbortSignal.timeout(patience) });
  if (answer.status === 401) await forget();
  const said = await answer.json();
  if (!answer.ok) throw new Error(said.error ?? answer.status);
  return said;
}

// refresh reads all of it anew, once at a time; what is asked for meanwhile is read after it.
export function refresh(site) {
  if (reading) again = true;
  reading ??= loadAll(site).finally(() => (reading = null));
  return reading;
}

async function loadAll(site) {
  do {
    again = false;
    await load(site);
  } while (again);
}

async function load(site) {
  const turn = forgotten;
  try {
    const [agenda, book, forms] = await Promise.all([ask("api/agenda"), ask("api/book"), fetched.forms && fetched.fresh ? fetched.forms : ask("api/book/forms")]);
    if (turn !== forgotten) return;
    Object.assign(fetched, { agenda, book, forms, at: Date.now(), failed: "", arrived: true, site: site ?? fetched.site });
    const { at } = fetched;
    await (await openStore()).show("book", { agenda, book, forms, at, site: fetched.site }).catch(() => {});
  } catch (e) {
    Object.assign(fetched, { failed: e.name === "TypeError" || e.name === "TimeoutError" ? "" : e.message, arrived: false });
  }
}

export const litterOf = (id) => fetched.book?.litters.find((l) => l.litter === id) ?? null;
