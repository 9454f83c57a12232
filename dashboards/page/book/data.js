// What the book says, as nestmon last told it. It is kept on this device, so that the room opens where nestmon cannot be reached; then it
// says of when it is.
import { openStore } from "./store.js";

const patience = 10e3; // ms
export const readEvery = 60e3; // ms between readings while the room is open

// fetched is {agenda, book, forms, site}, each as it came, and at: when the book came, in ms of this device's clock; null before.
// It is fresh while the last reading arrived and is not long ago: a device that slept shows what was.
export const fetched = {
  agenda: null, book: null, forms: null, site: null, at: null, failed: "", arrived: false,
  get fresh() {
    return this.arrived && Date.now() - this.at < 2 * readEvery;
  },
};

let reading = null;
let again = false; // something was stored since a reading began

// recall gets what was kept. It never fails.
export async function recall() {
  if (fetched.book) return;
  try {
    const kept = await (await openStore()).shown("book");
    if (kept && !fetched.book) Object.assign(fetched, kept, { arrived: false });
  } catch {
    // nothing is kept
  }
}

export async function ask(path) {
  const answer = await fetch(path, { signal: AbortSignal.timeout(patience) });
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
  try {
    const [agenda, book, forms] = await Promise.all([ask("api/agenda"), ask("api/book"), fetched.forms && fetched.fresh ? fetched.forms : ask("api/book/forms")]);
    Object.assign(fetched, { agenda, book, forms, at: Date.now(), failed: "", arrived: true, site: site ?? fetched.site });
    const { at } = fetched;
    await (await openStore()).show("book", { agenda, book, forms, at, site: fetched.site }).catch(() => {});
  } catch (e) {
    Object.assign(fetched, { failed: e.name === "TypeError" || e.name === "TimeoutError" ? "" : e.message, arrived: false });
  }
}

export const litterOf = (id) => fetched.book?.litters.find((l) => l.litter === id) ?? null;
