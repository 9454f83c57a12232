// What is on this device and not, or not without a question, in the book: what waits, what was refused, what was saved and is unusual.
import { el, keyed, setClass, setText, shape } from "../dom.js";
import { texts } from "../texts.js";
import * as units from "../units.js";
import { openForm } from "./form.js";
import { again, held, logIn, now, queue, throwAway, undo } from "./queue.js";

const said = texts.book.queue;

// makePending makes what needs a person, to stand first; a line of one height that says how much waits; and the list of that, to stand last. What
// comes and goes with each press must not move the buttons of the next nest under a glove.
export function makePending() {
  const parts = {
    forgets: el("p", { class: "wrong", text: said.forgets }), login: el("button", { type: "button", class: "take", text: said.logIn, onclick: logIn }), list: el("ul", { class: "list" }),
    line: el("button", { type: "button", class: "sendline", onclick: () => parts.waiting.querySelector("h2").focus() }), waits: el("ul", { class: "list" }),
  };
  parts.top = el("section", { id: "pending", hidden: true }, el("h2", { text: said.heading }), parts.forgets, parts.login, parts.list);
  parts.waiting = el("section", { id: "waits", hidden: true }, el("h2", { tabindex: "-1", text: said.waits }), parts.waits, el("p", { class: "quiet", text: said.note }));
  return { ...parts, update: () => update(parts) };
}

function update(parts) {
  const waiting = queue.items.filter((i) => i.state === "waiting");
  const others = queue.items.filter((i) => i.state !== "waiting");
  parts.forgets.hidden = !queue.forgets;
  parts.login.hidden = !queue.needsLogin || waiting.length === 0;
  parts.top.hidden = others.length === 0 && parts.login.hidden && (parts.forgets.hidden || waiting.length === 0);
  parts.waiting.hidden = waiting.length === 0;
  setText(parts.line, waiting.length === 0 ? said.lineNone : said.barWaiting(waiting.length));
  parts.line.disabled = waiting.length === 0;
  keyed(parts.list, others, (i) => i.key, makeItem, updateItem);
  keyed(parts.waits, waiting, (i) => i.key, makeItem, updateItem);
}

const shown = new WeakMap();

function makeItem() {
  const li = el("li", {}, el("p", { class: "title" }, shape("notice"), el("span", { class: "word" }), el("strong")), el("p", { class: "say" }), el("p", { class: "quiet" }), el("div", { class: "buttons" }));
  return li;
}

function updateItem(li, item) {
  const [title, why, when, buttons] = li.children;
  const bad = item.state === "refused";
  shown.set(li, item);
  setClass(li, `sending is-${item.state}`);
  const word = item.undone ? said.undone : held(item) ? said.held : said[item.state];
  const mark = bad ? "warning" : item.state === "unusual" ? "notice" : "quiet";
  if (li.dataset.mark !== mark) {
    li.dataset.mark = mark;
    title.replaceChild(shape(mark), title.firstElementChild);
  }
  setText(title.children[1], word);
  setText(title.children[2], item.what);
  setText(why, bad ? item.error : item.state === "unusual" ? item.doubts.join(" ") : item.why ?? "");
  setText(when, said.pressed(units.moment(Date.parse(item.on), now())));
  keyed(buttons, deeds(item), (d) => d.key, (d) => el("button", { type: "button", onclick: () => deeds(shown.get(li)).find((x) => x.key === d.key)?.does(shown.get(li)) }), (b, d) => {
    setText(b, d.words);
    b.setAttribute("aria-label", `${d.words}: ${item.what}`);
    setClass(b, d.strong ? "take" : "");
  });
  buttons.hidden = buttons.children.length === 0;
}

function deeds(item) {
  if (item.state === "refused") {
    return [...(item.form ? [{ key: "mend", words: said.mend, strong: true, does: (i) => openForm(i.form, i) }] : []), { key: "again", words: said.again, does: again }, { key: "away", words: said.away, does: throwAway }];
  }
  if (item.state === "unusual") {
    return [...(item.stored.length === 1 ? [{ key: "correct", words: said.correctIt, strong: true, does: correct }] : [{ key: "undo", words: said.takeBack, strong: true, does: takeBack }]), { key: "right", words: said.right, does: throwAway }];
  }
  return item.undone || !item.undoable ? [] : [{ key: "undo", words: texts.book.undo, does: undo }];
}

function correct(item) {
  const [entry] = item.stored;
  throwAway(item);
  openForm({ kind: "correct", what: entry.what, litter: entry.litter ?? null, nest: entry.nest ?? null, entry, values: entry.row });
}

async function takeBack(item) {
  await throwAway(item);
  await undo(item);
}
