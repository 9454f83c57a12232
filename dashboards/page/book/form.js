// A form of the book, as a dialog. Which fields it has comes from the daemon. Where the book refuses what was entered, its words stand beside
// the field, and the form stays open.
import { say } from "../act.js";
import { el, setText } from "../dom.js";
import { texts } from "../texts.js";
import { ask, fetched, litterOf } from "./data.js";
import { choiceField, countField, measureField, namedField, savingField, timeField, wordField } from "./fields.js";
import { now, outcome, press, throwAway } from "./queue.js";
import { choiceWords, fieldWords, litterTitle, whatWords, whenWords } from "./words.js";

const said = texts.book;
const showWithin = 5e3; // ms that a form waits for the daemon's word before it closes and leaves the rest to the queue
const noNumbers = ["litter", "replaces", "with"]; // the page knows them
const aside = ["kind", "season", "depth", "note", "buck"]; // said rarely, behind "More"

const notKnown = "not-known"; // the cause of a loss of which nobody says more

let dialog = null;

// A form is {kind, what, litter, nest, values, entry, doe}: of kind entry, losses, foster, correct or strike; litter is a number. It can be stored, and
// opened again to be mended.
export async function openForm(form, mending = null) {
  if (!fetched.forms) {
    say(said.noForms, "bad");
    return;
  }
  let partners = [];
  if (form.kind === "foster") {
    try {
      partners = (await ask(`api/book/litter/${form.litter}`)).partners;
    } catch {
      partners = fetched.book.litters.filter((l) => l.litter !== form.litter && l.kindled && l.day !== null);
    }
  }
  show(form, fieldsOf(form, partners), partners, mending);
}

// titleOf is what the form is about.
function titleOf(form) {
  const l = litterOf(form.litter);
  const where = l ? `${l.nest}: ${l.doe || said.litter(l.litter)}` : form.nest ? form.nest : form.litter ? said.litter(form.litter) : said.site;
  const deed = { losses: said.losses, foster: whatWords("fostered-out"), correct: said.correct(form.entry?.said ?? ""), strike: said.strike(form.entry?.said ?? "") }[form.kind] ?? whatWords(form.what);
  return texts.doing.what(where, deed);
}

const form0 = (what) => fetched.forms.whats.find((f) => f.what === what) ?? { must: [], may: [] };

function fieldsOf(form, partners) {
  const values = form.values ?? {};
  const l = litterOf(form.litter);
  const alive = l?.alive ?? null;
  if (form.kind === "strike") return [wordField("note", said.strikeWhy, [], 1000, "", true)];
  const when = timeOf(form, l);
  if (form.kind === "losses") return [lossesOf(alive, values), make("cause", "lost", { ...values, cause: values.cause ?? notKnown }, true), when, make("note", "lost", values, false)];
  if (form.kind === "foster") {
    const to = partners.map((p) => ({ value: String(p.litter), words: `${p.nest}: ${litterTitle(p)}` }));
    return [namedField("with", fieldWords("with", "fostered-out"), to, values.with, false), countField("kits", fieldWords("kits", "fostered-out"), 1, alive ?? fetched.forms.most_kits, values.kits, false), when, make("note", "fostered-out", values, false)];
  }
  const { must, may } = form0(form.what);
  const named = new Set([...noNumbers, ...(form.kind === "correct" || !(form.litter || form.nest) ? [] : ["nest"])]);
  if (form.kind === "correct" && form.entry.row.with) named.add("nest");
  const all = [...must.map((f) => [f, true]), ...may.map((f) => [f, false])].filter(([f]) => !named.has(f) && f !== "note" && !(form.chore && f === "chore"));
  if (l && form.kind !== "correct") all.splice(0, all.length, ...all.filter(([f]) => !(["doe", "buck"].includes(f) && l[f])));
  const out = all.map(([f, needed]) => (f === "kits" ? kitsOf(form.what, alive, values, needed) : make(f, form.what, values, needed)));
  const note = make("note", form.what, values, must.includes("note"));
  return must.includes("note") ? [note, ...out, when] : [...out, when, note];
}

// lossesOf saves with one tap: the commonest entry but one is made with a glove on. Why they died can be said before, and corrected later.
const lossesOf = (alive, values) => savingField("kits", said.howManyLost, 1, alive || fetched.forms.most_kits, values.kits);

// kitsOf goes no further than the kits there are, where that is known and nobody counts anew.
function kitsOf(what, alive, values, needed) {
  const least = ["kindled", "collected", "weaned"].includes(what) ? 0 : 1;
  const most = what === "kindled" || alive === null || alive === 0 ? fetched.forms.most_kits : alive;
  return countField("kits", fieldWords("kits", what), least, most, values.kits, !needed);
}

function timeOf(form, l) {
  const t = now();
  if (form.kind === "correct") return timeField(said.when.heading, t, { value: null, words: said.when.asItIs(whenWords(form.entry, t)) });
  if (form.values?.on) return timeField(said.when.heading, t, { value: form.values.on, words: said.when.asItIs(whenWords({ at: form.values.on, day: form.values.on.length === 10 }, t)) });
  if (form.what === "kindled" && l?.noticed) return timeField(said.when.heading, t, { value: l.noticed, words: said.when.noticed(whenWords({ at: l.noticed }, t)) });
  return timeField(said.when.heading, t);
}

// make is the field of a column.
function make(name, what, values, must) {
  const { takes, choices, longest } = fetched.forms.fields[name];
  const words = fieldWords(name, what);
  const value = values[name] ?? "";
  if (choices) return choiceField(name, words, choices, value, !must);
  if (name === "nest" || name === "to") {
    const ids = fetched.book.nests.map((n) => n.nest);
    const others = name === "to" ? (fetched.book.names.to ?? []).filter((n) => !ids.includes(n)) : [];
    return wordField(name, words, [...ids, ...others], longest, value, !must);
  }
  if (takes === "count") return countField(name, words, 0, fetched.forms.most_kits, value, !must);
  if (takes === "weight" || takes === "length") return measureField(name, words, takes, value, !must);
  return wordField(name, words, name === "note" ? [] : fetched.book.names[name] ?? [], longest, value, !must);
}

function show(form, fields, partners, mending) {
  dialog?.remove();
  const title = titleOf(form);
  const wrong = el("p", { class: "wrong", role: "alert" });
  const save = el("button", { type: "submit", class: "take", text: form.kind === "strike" ? said.strikeIt : said.save });
  const saving = form.kind === "losses" ? fields.find((f) => f.name === "kits") : null; // saves by itself
  const rest = fields.filter((f) => aside.includes(f.name) && !(form.values?.[f.name] || form.what === "noted" || form.kind === "strike"));
  const more = el("details", { class: "rarely", hidden: rest.length === 0 }, el("summary", { text: said.rarely }), ...rest.map((f) => f.node));
  const body = el("form", { novalidate: true }, el("h2", { id: "book-form", tabindex: "-1", text: title }), wrong,
    ...fields.filter((f) => !rest.includes(f) && f !== saving).map((f) => f.node), more,
    el("div", { class: "buttons foot" }, saving ? saving.node : save, el("button", { type: "button", text: texts.login.cancel, onclick: () => dialog.close() })));
  dialog = el("dialog", { class: "book-form", "aria-labelledby": "book-form" }, body);
  document.body.append(dialog);
  let refused = mending;
  const complain = (text, name) => {
    fields.forEach((f) => f.wrong(""));
    const at = fields.find((f) => f.name === name);
    setText(wrong, at ? "" : text);
    if (at && rest.includes(at)) more.open = true;
    at?.wrong(text);
    (at?.node ?? wrong).scrollIntoView({ block: "center" });
  };
  if (mending) complain(mending.error, mending.field);
  body.addEventListener("submit", async (e) => {
    e.preventDefault();
    if (save.getAttribute("aria-disabled") === "true") return;
    const values = Object.fromEntries(fields.map((f) => [f.name, f.value()]));
    const lacks = fields.find((f) => needed(form).includes(f.name) && values[f.name] === "");
    if (lacks) return complain(said.missing(fieldWords(lacks.name, form.what)), lacks.name);
    const rows = rowsOf(form, values, partners);
    if (!rows) return complain(said.nothingChanged, "");
    save.setAttribute("aria-disabled", "true");
    setText(save, texts.doing.button);
    if (refused) await throwAway(refused);
    const item = await press({
      rows, what: form.kind === "correct" || form.kind === "strike" ? title : texts.doing.what(title, summary(form, values)), nest: nestOf(form), litter: form.litter ?? null, place: refused?.seq,
      form: { ...form, values: clean(values) }, undoable: !["correct", "strike"].includes(form.kind),
    });
    await outcome(item, showWithin);
    if (item.state !== "refused") return dialog.close();
    refused = item;
    save.removeAttribute("aria-disabled");
    setText(save, said.save);
    complain(item.error, item.field);
  });
  dialog.addEventListener("close", () => {
    dialog.remove();
    dialog = null;
  });
  dialog.showModal();
  document.getElementById("book-form").focus();
}

const nestOf = (form) => form.nest ?? litterOf(form.litter)?.nest ?? null;
const clean = (values) => Object.fromEntries(Object.entries(values).filter(([, v]) => v !== "" && v !== null));

const needed = (form) => ({ losses: ["kits", "cause"], foster: ["with", "kits"], strike: [] })[form.kind] ?? (form.kind === "correct" ? [] : form0(form.what).must);

// rowsOf are the rows of a form, as the daemon takes them; null where a correction changes nothing.
function rowsOf(form, values, partners) {
  const v = clean(values);
  const at = form.litter ? { litter: String(form.litter) } : form.nest ? { nest: form.nest } : {};
  const on = v.on ? { on: v.on } : {};
  switch (form.kind) {
    case "losses": { // by the hour a loss is a look; of which only the day is known, that somebody looked is written beside
      const lost = { what: "lost", ...at, ...v };
      const noticed = litterOf(form.litter)?.noticed;
      if (noticed) return [{ what: "kindled", ...at, on: noticed }, lost]; // who found dead kits has seen that they are born
      return v.on?.length === 10 ? [{ what: "did", chore: "inspect-due", nest: form.nest, ...at, ...on }, lost] : [lost];
    }
    case "foster": {
      const to = partners.find((p) => String(p.litter) === v.with);
      const rest = { kits: v.kits, ...on, ...(v.note ? { note: v.note } : {}) };
      return [{ what: "fostered-out", ...at, with: v.with, ...rest }, { what: "fostered-in", litter: v.with, nest: to?.nest ?? "", with: String(form.litter), ...rest }];
    }
    case "strike":
      return [{ what: "struck", replaces: String(form.entry.id), ...v }];
    case "correct": {
      const was = form.entry.row;
      const changed = Object.entries(values).filter(([f, text]) => text !== null && (f === "on" ? true : text !== (was[f] ?? "")));
      if (changed.length === 0) return null;
      const row = Object.fromEntries(changed);
      if (row.on === "") row.on = new Date(now()).toISOString();
      return [{ replaces: String(form.entry.id), ...row }];
    }
  }
  const nest = form.what === "did" || form.what === "noted" ? (form.nest ? { nest: form.nest } : {}) : {};
  return [{ what: form.what, ...at, ...nest, ...(form.chore ? { chore: form.chore } : {}), ...v }];
}

// summary is what was said, in a few words.
function summary(form, values) {
  const words = [];
  for (const [f, text] of Object.entries(values)) {
    if (text === "" || text === null || f === "on" || f === "note" || f === "with") continue;
    const { choices } = fetched.forms.fields[f] ?? {};
    words.push(choices ? choiceWords(f, text) : f === "kits" ? said.kitCount(Number(text)) : text);
  }
  return words.join(", ") || said.saidNothing;
}
