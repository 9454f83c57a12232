// What the book says, as nestmon last told it. It is kept on this device, so that the room opens where nestmon cannot be reached; then it
// says of when it is.
import { openStore } from "./store.js";

const patience = 10e3; // ms

// fetched is {agenda, book, forms, session, site}, each as it came, and at: when the book came, in ms of this device's clock; null before.
export const fetched = { agenda: null, book: null, forms: null, site: null, at: null, failed: "", fresh: false };

let reading = null;

// recall gets what was kept. It never fails.
export async function recall() {
  if (fetched.book) return;
  try {
    const kept = await (await openStore()).shown("book");
    if (kept && !fetched.book) Object.assign(fetched, kept, { fresh: false });
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

// refresh reads all of it anew, once at a time.
export function refresh(site) {
  reading ??= load(site).finally(() => (reading = null));
  return reading;
}

async function load(site) {
  try {
    const [agenda, book, forms] = await Promise.all([ask("api/agenda"), ask("api/book"), fetched.forms && fetched.fresh ? fetched.forms : ask("api/book/forms")]);
    Object.assign(fetched, { agenda, book, forms, at: Date.now(), failed: "", fresh: true, site: site ?? fetched.site });
    const { at } = fetched;
    await (await openStore()).show("book", { agenda, book, forms, at, site: fetched.site }).catch(() => {});
  } catch (e) {
    Object.assign(fetched, { failed: e.name === "TypeError" || e.name === "TimeoutError" ? "" : e.message, fresh: false });
  }
}

export const litterOf = (id) => fetched.book?.litters.find((l) => l.litter === id) ?? null;
export const nestOf = (id) => fetched.book?.nests.find((n) => n.nest === id) ?? null;
